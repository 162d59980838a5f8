"""Chromium through Playwright against a live server."""

import os
import shutil
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.core.signals import request_finished, request_started
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from accounts.models import Membership
from tests.support.builders import PASSWORD

# Playwright's synchronous interface runs an event loop in this thread; Django would
# refuse to talk to the database beside one, although nothing here is concurrent.
os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"

PHONE = {"width": 390, "height": 844}
DESKTOP = {"width": 1280, "height": 900}
# The first page takes the imports of the whole site along, on a machine that does much besides.
PATIENCE_MS = 30_000
CHROMIUM = os.environ.get("CHROMIUM") or shutil.which("chromium") or "chromium"
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    here = Path(__file__).parent
    for item in items:
        if here in item.path.parents:
            item.add_marker("browser")


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield chromium
        chromium.close()


@pytest.fixture
def open_context(browser: Browser, live_server) -> Iterator[Callable[..., BrowserContext]]:
    """A fresh browser context; every script error or page crash fails the test."""
    contexts: list[BrowserContext] = []
    problems: list[str] = []

    def make(**options) -> BrowserContext:
        context = browser.new_context(
            **{"viewport": DESKTOP, "base_url": live_server.url, "locale": "en-US", **options}
        )
        context.set_default_timeout(PATIENCE_MS)
        context.on("weberror", lambda error: problems.append(str(error.error)))
        contexts.append(context)
        return context

    with requests_under_way() as under_way:
        yield make
        for context in contexts:
            context.close()
        # The database is emptied next; a request that still reads from it would deadlock.
        deadline = time.monotonic() + 10
        while under_way and time.monotonic() < deadline:
            time.sleep(0.02)
    assert problems == []


@contextmanager
def requests_under_way() -> Iterator[list[int]]:
    """The server's requests that have started and not finished."""
    under_way: list[int] = []

    def started(**_: object) -> None:
        under_way.append(1)

    def finished(**_: object) -> None:
        if under_way:
            under_way.pop()

    request_started.connect(started)
    request_finished.connect(finished)
    yield under_way
    request_started.disconnect(started)
    request_finished.disconnect(finished)


@pytest.fixture
def signed_in(open_context) -> Callable[..., Page]:
    """A page of somebody who signed in through the form."""

    def make(member: Membership, **options) -> Page:
        page = open_context(**options).new_page()
        sign_in(page, member.person.email)
        return page

    return make


def sign_in(page: Page, email: str, password: str = PASSWORD) -> None:
    page.goto("/accounts/login/")
    fill_sign_in(page, email, password)


def fill_sign_in(page: Page, email: str, password: str = PASSWORD) -> None:
    """Fill the form that is shown; the page that was wanted follows."""
    page.get_by_label("E-mail", exact=False).first.fill(email)
    page.locator("input[type=password]").fill(password)
    page.locator("main button[type=submit], main form button").last.click()
    page.wait_for_url(lambda url: "/accounts/login" not in url)


def set_theme(page: Page, theme: str) -> None:
    """Day or night, by the cookie that the switch sets: for the whole site, as it does."""
    origin = page.evaluate("location.origin")
    page.context.add_cookies([{"name": "theme", "value": theme, "url": f"{origin}/"}])
    page.reload()


def axe_findings(page: Page) -> list[str]:
    """What axe-core has to say about the page as it stands, WCAG 2.2 AA and best practices."""
    found = Axe().run(page).response["violations"]
    return [
        f"{row['id']} ({row['impact']}): {row['help']}: "
        + "; ".join(node["html"][:120] for node in row["nodes"][:3])
        for row in found
    ]
