"""Chromium through Playwright against a live server."""

import os
import subprocess
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import pytest
from axe_playwright_python.base import AXE_SCRIPT
from django.conf import settings
from django.core.signals import request_finished, request_started
from django.db import connection
from django.test import Client
from playwright.sync_api import Browser, BrowserContext, Page, expect, sync_playwright

from accounts.models import Membership
from tests.support.builders import PASSWORD
from tests.support.signing_in import sign_in as sign_in_at_once

# Playwright's synchronous interface runs an event loop in this thread; Django would
# refuse to talk to the database beside one, although nothing here is concurrent.
os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"

PHONE = {"width": 390, "height": 844}
DESKTOP = {"width": 1280, "height": 900}
# The first page takes the imports of the whole site along, on a machine that does much besides.
PATIENCE_MS = 60_000
expect.set_options(timeout=PATIENCE_MS)
_FINDER = Path(__file__).parents[2] / "deploy" / "lib" / "find_browser"
# Where none is installed, starting the name alone says so.
CHROMIUM = subprocess.run([_FINDER], stdout=subprocess.PIPE, text=True).stdout.strip() or "chromium"
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
Look = tuple[dict[str, int], str]
LOOKS: tuple[Look, ...] = tuple(
    (size, theme) for size in (PHONE, DESKTOP) for theme in ("day", "night")
)
_SET_THEME = """async (name) => {
  const { setTheme } = await import("/static/web/js/theme.js");
  setTheme(name);
  while (!document.getElementById("night-sheet").sheet) await new Promise(requestAnimationFrame);
}"""
# The rules that judge what the night changes, which is colors.
_COLOR_RULES = ["color-contrast", "link-in-text-block"]
# Stylesheets are read for a single rule, which is experimental and does not run.
_RUN_AXE = """(runOnly) => axe.run({
    resultTypes: ["violations"],
    preload: { assets: ["media"], timeout: 10_000 },
    ...(runOnly && { runOnly }),
  })
  .then(({ violations }) => violations)"""


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


@pytest.fixture(autouse=True, scope="module")
def _each_fit_made_once(fits_made_once: None) -> None:
    """No test of these needs a fit to be made again."""


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

    yield make
    for context in contexts:
        context.close()
    assert problems == []


@pytest.fixture(scope="session")
def answering() -> Iterator[set[threading.Thread]]:
    """The threads of the live server that are about to answer. Others may wait on a connection
    that a browser keeps open."""
    threads: set[threading.Thread] = set()
    request_started.connect(begun := lambda **_: threads.add(threading.current_thread()))
    request_finished.connect(done := lambda **_: threads.discard(threading.current_thread()))
    yield threads
    request_started.disconnect(begun)
    request_finished.disconnect(done)


@pytest.fixture(autouse=True)
def quiet_server(live_server, transactional_db, answering, monkeypatch) -> Iterator[None]:
    """Wait for requests of closed browsers: the database is emptied next and would deadlock.

    A thread of the server keeps its connection to the database until the browser lets go of the
    thread: one for each request took as long as its queries."""
    monkeypatch.setitem(connection.settings_dict, "CONN_MAX_AGE", None)
    yield
    answering.discard(threading.current_thread())  # What a client of the test left open.
    deadline = time.monotonic() + PATIENCE_MS / 1000
    while any(one.is_alive() for one in answering) and time.monotonic() < deadline:
        time.sleep(0.02)
    answering.clear()


@pytest.fixture
def signed_in(open_context, live_server) -> Callable[..., Page]:
    """A page of somebody who has signed in."""

    def make(member: Membership, **options) -> Page:
        context = open_context(**options)
        give_session(context, member, live_server.url)
        return context.new_page()

    return make


def give_session(context: BrowserContext, member: Membership, server: str) -> None:
    """What the form of `sign_in` leaves in the browser, without its pages."""
    client = Client()
    sign_in_at_once(client, member.person)
    name = settings.SESSION_COOKIE_NAME
    cookie = {"name": name, "value": client.cookies[name].value, "url": server, "httpOnly": True}
    context.add_cookies([{**cookie, "expires": time.time() + settings.SESSION_COOKIE_AGE}])


def sign_in(page: Page, email: str, password: str = PASSWORD) -> None:
    page.goto("/accounts/login/")
    fill_sign_in(page, email, password)


def fill_sign_in(page: Page, email: str, password: str = PASSWORD) -> None:
    """Fill the form that is shown; the page that was wanted follows."""
    page.get_by_label("Email", exact=False).first.fill(email)
    page.locator("input[type=password]").fill(password)
    page.locator("main button[type=submit], main form button").last.click()
    page.wait_for_url(lambda url: "/accounts/login" not in url)


def set_theme(page: Page, theme: str) -> None:
    """Day or night, as the switch does: at once, and by the cookie for the pages that follow."""
    page.evaluate(_SET_THEME, theme)


def axe_findings(page: Page, theme: str = "day") -> list[str]:
    """What axe-core has to say about the page as it stands, WCAG 2.2 AA and best practices; of a
    page in the night, which is looked at by day too, what it says of colors."""
    if not page.evaluate("'axe' in window"):
        page.evaluate(AXE_SCRIPT)
    found = page.evaluate(_RUN_AXE, _COLOR_RULES if theme == "night" else None)
    return [
        f"{row['id']} ({row['impact']}): {row['help']}: "
        + "; ".join(node["html"][:120] for node in row["nodes"][:3])
        for row in found
    ]


def faults_in_every_look(page: Page, looks: Sequence[Look] = LOOKS) -> list[str]:
    """What axe finds on the page in both themes, on a phone and on a desk, and whether it scrolls
    sideways."""
    found = []
    for size, theme in looks:
        page.set_viewport_size(size)
        set_theme(page, theme)
        faults = axe_findings(page, theme)
        if page.evaluate("document.documentElement.scrollWidth > innerWidth"):
            faults.append("scrolls sideways")
        found.extend(f"{size['width']} px, {theme}: {fault}" for fault in faults)
    return found


def faults_of(
    page: Page, addresses: Sequence[str], open_folds: Callable[[Page], None] = lambda page: None
) -> dict[str, list[str]]:
    """The faults of screens by address. Every other one comes from the server in the night: it is
    looked at from the last look of the one before to the first."""
    found = {}
    looks = LOOKS
    for address in addresses:
        page.goto(address)
        open_folds(page)
        if faults := faults_in_every_look(page, looks):
            found[address] = faults
        looks = looks[::-1]
    return found
