"""From an empty database to real use, by deploy/production.md: the settings of real use as they
are, nginx with TLS, gunicorn, all workers, and a mail server. What the units and timers of systemd
call is called by hand.

A program is begun on the command line; its coordinator joins by the mailed link, sets up an
authenticator app and signs in with it; a volunteer is invited, joins, and signs in by a mailed
code.

    pytest -m slow tests/browser/test_real_use.py
"""

import os
import re
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import SimpleNamespace

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import CHROMIUM, FLAGS, PATIENCE_MS
from tests.integration.test_backups import Databases
from tests.support.proxied import HOST, proxied
from tests.support.served import PROJECT, served
from tests.support.smtp_sink import Mailbox, mail_server
from tests.support.totp import totp

pytestmark = [pytest.mark.slow, pytest.mark.django_db(transaction=True)]

COORDINATOR, VOLUNTEER, OPERATOR = (
    f"{who}@volunteers.example.org" for who in ("robin", "sam", "ops")
)
PASSWORD = "heron reed lantern 7"
LINK = re.compile(rf"https://{re.escape(HOST)}(/\S+)")
CODE = re.compile(r"^([A-Z]{4}-[A-Z]{4})\s*$", re.MULTILINE)


@pytest.fixture
def site(tmp_path, settings) -> Iterator[SimpleNamespace]:
    databases = Databases()
    name = databases.create("real")
    with databases.open(name) as there:
        there.execute("CREATE EXTENSION IF NOT EXISTS postgis")
    with mail_server() as mailbox:
        environment = environment_of(databases.url(name), mailbox, tmp_path)
        for command in (["migrate", "--no-input"], ["collectstatic", "--no-input"], ["check"]):
            manage(environment, *command)
        with (
            served(tmp_path, environment=environment) as port,
            proxied(tmp_path / "proxy", port) as proxy,
            workers(tmp_path, environment),
        ):
            yield SimpleNamespace(proxy=proxy, mailbox=mailbox, environment=environment)
    databases.drop_all()


def environment_of(url: str, mailbox: Mailbox, folder: Path) -> dict[str, str]:
    """/etc/duskpool.env, and folders that are not those of the machine."""
    # systemd makes it: StateDirectory of the units.
    (folder / "media").mkdir()
    kept = {name: os.environ[name] for name in ("PATH", "HOME", "LANG") if name in os.environ}
    return kept | {
        "DJANGO_SETTINGS_MODULE": "deploy.settings.prod",
        "DATABASE_URL": url,
        "DUSKPOOL_SECRET_KEY": "a key for one walk through the set-up, no longer than this",
        "DUSKPOOL_ALLOWED_HOSTS": HOST,
        "DUSKPOOL_EMAIL_HOST": "127.0.0.1",
        "DUSKPOOL_EMAIL_PORT": str(mailbox.port),
        "DUSKPOOL_EMAIL_TLS": "0",
        "DUSKPOOL_FROM_EMAIL": f"surveys@{HOST}",
        "DUSKPOOL_OPERATORS": OPERATOR,
        "DUSKPOOL_MEDIA_ROOT": str(folder / "media"),
        "DUSKPOOL_STATIC_ROOT": str(folder / "static"),
        "DUSKPOOL_ALERTS_FILE": str(folder / "alerts.json"),
        "DUSKPOOL_SITE_MODE_FILE": str(folder / "site-mode.json"),
    }


def manage(environment: dict[str, str], *arguments: str) -> str:
    return call(environment, sys.executable, "manage.py", *arguments)


def call(environment: dict[str, str], *command: str | Path) -> str:
    done = subprocess.run(
        command, cwd=PROJECT, env=environment, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


@contextmanager
def workers(folder: Path, environment: dict[str, str]) -> Iterator[None]:
    with (folder / "workers.log").open("wb") as log:
        process = subprocess.Popen(
            [sys.executable, "manage.py", "run_workers"],
            cwd=PROJECT, env=environment, stdout=log, stderr=log,
        )  # fmt: skip
        try:
            yield
        finally:
            process.terminate()
            process.wait(60)


@pytest.fixture
def open_page(site, browser) -> Iterator:
    """Chromium takes the host for this machine, and does not know who signed the certificate."""
    rule = f"--host-resolver-rules=MAP {HOST} 127.0.0.1:{site.proxy.https}"
    chromium = browser.browser_type.launch(executable_path=CHROMIUM, args=[*FLAGS, rule])

    def make() -> Page:
        context = chromium.new_context(
            base_url=f"https://{HOST}", ignore_https_errors=True, locale="en-US"
        )
        context.set_default_timeout(PATIENCE_MS)
        return context.new_page()

    yield make
    chromium.close()


def join(page: Page, site: SimpleNamespace, email: str) -> None:
    text = site.mailbox.wait_for(email, "Invitation")
    page.goto(LINK.search(text)[1])
    page.get_by_label("Your name").fill("Robin Fenwick" if email == COORDINATOR else "Sam Alder")
    page.get_by_label("Choose a password").fill(PASSWORD)
    page.get_by_label("Repeat the password").fill(PASSWORD)
    page.get_by_role("button", name="Join").click()


def set_up_app(page: Page) -> str:
    expect(page.get_by_role("heading", name="Second step at sign-in")).to_be_visible()
    page.get_by_role("link", name="Set up an app").click()
    if page.get_by_role("button", name="Continue").is_visible():
        page.locator("input[type=password]").fill(PASSWORD)
        page.get_by_role("button", name="Continue").click()
    secret = page.locator("code").inner_text().replace(" ", "")
    page.get_by_label("code", exact=False).last.fill(totp(secret))
    page.get_by_role("button", name="Finish").click()
    page.get_by_role("link", name="I saved them").click()
    return secret


def sign_out(page: Page) -> None:
    page.goto("/accounts/logout/")
    page.get_by_role("button", name="Sign out").last.click()
    page.wait_for_url("**/accounts/login/**")


def sign_in_with_app(page: Page, secret: str) -> None:
    page.get_by_label("Email address").fill(COORDINATOR)
    page.get_by_label("Password", exact=True).fill(PASSWORD)
    page.get_by_role("button", name="Sign in", exact=True).click()
    # The next code: one opens once.
    page.locator("input[name=code]").fill(totp(secret, time.time() + 30))
    page.locator("main form button[type=submit]").first.click()
    page.wait_for_url("**/lowland-frogs/desk/")


def sign_in_by_code(page: Page, site: SimpleNamespace) -> None:
    page.goto("/accounts/login/")
    page.get_by_role("link", name="Email me a code").click()
    page.get_by_label("Email address").fill(VOLUNTEER)
    page.get_by_role("button", name="Send the code").click()
    text = site.mailbox.wait_for(VOLUNTEER, "your sign-in code")
    page.locator("input[name=code]").fill(CODE.search(text)[1])
    page.get_by_role("button", name="Sign in", exact=True).click()
    page.wait_for_url("**/lowland-frogs/tonight/")


def test_people_come_in_after_the_steps_of_the_document(site, open_page, tmp_path):
    manage(
        site.environment,
        *("start_program", "Lowland frogs", "--time-zone", "America/Chicago"),
        *("--coordinator-email", COORDINATOR, "--site-url", f"https://{HOST}"),
    )
    desk, phone = open_page(), open_page()
    join(desk, site, COORDINATOR)
    secret = set_up_app(desk)
    desk.goto("/lowland-frogs/program/people/invite")
    desk.get_by_label("Email").fill(VOLUNTEER)
    desk.locator("main form button").last.click()
    join(phone, site, VOLUNTEER)
    phone.wait_for_url("**/lowland-frogs/tonight/")
    sign_out(phone)
    sign_in_by_code(phone, site)
    cookies = {cookie["name"]: cookie for cookie in phone.context.cookies()}
    assert cookies["__Host-sessionid"]["secure"]
    assert cookies["__Host-sessionid"]["httpOnly"]
    sign_out(desk)
    sign_in_with_app(desk, secret)
    assert site.proxy.ask("GET", "/readyz").status == 200
    what_the_timers_call(site.environment, tmp_path / "backups")


def what_the_timers_call(environment: dict[str, str], backups: Path) -> None:
    """In the order of a night; the watch finds nothing to tell."""
    environment = environment | {"PATH": f"{Path(sys.executable).parent}:{environment['PATH']}"}
    assert "duskpool-" in call(environment, "deploy/backup", "--record", backups)
    call(environment, "deploy/drill", "--record", backups)
    assert "Mailed" not in manage(environment, "watch_operations")
