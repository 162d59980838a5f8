"""Static files from another host as deploy/machines.md says, with nginx and Chromium: a page of an
observer, and the survey of a phone without a network."""

from collections.abc import Iterator
from urllib.parse import urlsplit

import pytest
from django.conf import settings
from playwright.sync_api import BrowserContext, Page, expect

from surveys.web.survey.files import STYLES
from tests.browser.conftest import CHROMIUM, FLAGS, PATIENCE_MS
from tests.browser.survey.test_start import BOTH_WORKERS
from tests.integration.test_proxy import REAL_USE, SESSION
from tests.support.builders import make_checklist, make_route
from tests.support.proxied import HOST, STATIC_HOST, Proxy, proxied
from tests.support.served import served

pytestmark = pytest.mark.django_db(transaction=True)

ICONS_DRAWN = """() => {
  const icons = [...document.querySelectorAll("svg.icon")].filter((one) => one.checkVisibility());
  return icons.length > 0 && icons.every((icon) => icon.getBBox().width > 0);
}"""


@pytest.fixture
def proxy(tmp_path) -> Iterator[Proxy]:
    there = {
        "DUSKPOOL_STATIC_URL": f"https://{STATIC_HOST}/static/",
        "DUSKPOOL_STATIC_ROOT": str(tmp_path / "static"),
        "DUSKPOOL_MEDIA_ROOT": str(tmp_path / "media"),
    }
    with (
        served(tmp_path, static_files=True, environment=REAL_USE | there) as port,
        proxied(tmp_path / "proxy", port, static=tmp_path / "static") as proxy,
    ):
        yield proxy


@pytest.fixture
def context(proxy, browser) -> Iterator[BrowserContext]:
    """Chromium takes both hosts for this machine, and does not ask who signed the certificate."""
    mapped = ", ".join(f"MAP {name} 127.0.0.1:{proxy.https}" for name in (HOST, STATIC_HOST))
    chromium = browser.browser_type.launch(
        executable_path=CHROMIUM,
        args=[*FLAGS, f"--host-resolver-rules={mapped}", "--ignore-certificate-errors"],
    )
    context = chromium.new_context(base_url=f"https://{HOST}", locale="en-US")
    context.set_default_timeout(PATIENCE_MS)
    yield context
    chromium.close()


def test_a_page_and_the_phone_work_with_two_hosts(context, client_for, observer, program):
    make_checklist(program)
    make_route(program)
    session = client_for(observer).cookies[settings.SESSION_COOKIE_NAME].value
    context.add_cookies([{"name": SESSION, "value": session, "url": f"https://{HOST}"}])
    page = context.new_page()
    said: list[str] = []
    page.on("console", lambda line: said.append(line.text) if line.type == "error" else None)
    came: list[tuple[str, str, int]] = []
    page.on("response", lambda answer: came.append(
        (urlsplit(answer.url).netloc, urlsplit(answer.url).path, answer.status)
    ))  # fmt: skip

    page.goto(f"/{program.slug}/tonight/", wait_until="networkidle")
    page.wait_for_function(ICONS_DRAWN)
    assert said == []
    static = [one for one in came if one[1].startswith("/static/")]
    assert {one[2] for one in static} == {200}
    # Icons, which browsers take from the page's own host alone.
    assert {one[1] for one in static if one[0] == HOST} == {"/static/web/icons.svg"}
    assert {one[1].rpartition(".")[2] for one in static if one[0] == STATIC_HOST} >= {"css", "js"}
    for other in ("calls/", "trends/", "seasons/"):
        assert page.goto(f"/{program.slug}/{other}", wait_until="networkidle").status == 200
        page.wait_for_function(ICONS_DRAWN)
    assert said == []
    the_phone_works_offline(page, context, program.slug)
    assert said == []


def the_phone_works_offline(page: Page, context: BrowserContext, slug: str) -> None:
    page.goto(f"/{slug}/survey/")
    screen = page.get_by_text("No route is saved on this phone yet.")
    expect(screen).to_be_visible()
    page.evaluate(BOTH_WORKERS)
    context.set_offline(True)
    page.reload()
    expect(screen).to_be_visible()
    page.wait_for_function(ICONS_DRAWN)
    assert page.evaluate("document.styleSheets.length") == len(STYLES)
    context.set_offline(False)
