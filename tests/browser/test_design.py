"""The design page, which holds every component, looked at by Chromium in both themes and widths."""

import io

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.contrib.auth.models import AnonymousUser
from django.contrib.staticfiles import finders
from django.template.loader import render_to_string
from django.test import RequestFactory
from PIL import Image
from playwright.sync_api import Browser, Page, Route

from surveys.web.design import design_context

PHONE = {"width": 390, "height": 844}
DESK = {"width": 1280, "height": 900}
SIZES = [pytest.param(PHONE, id="phone"), pytest.param(DESK, id="desk")]
# Relative luminance 0.20, the limit stated in night.css, is this much red and nothing else.
BRIGHTEST_RED = 248


def design_html(theme: str) -> str:
    request = RequestFactory().get("/design")
    request.COOKIES["theme"] = theme
    request.user = AnonymousUser()
    return render_to_string("web/design.html", design_context(), request)


def open_page(browser: Browser, theme: str, size: dict[str, int], body_class: str = "") -> Page:
    """The design page in a browser that gets files from the project and from nowhere else."""
    html = design_html(theme).replace('class="has-dock ', f'class="has-dock {body_class}')

    def answer(route: Route) -> None:
        path = route.request.url.removeprefix("http://design.test")
        found = finders.find(path.removeprefix("/static/")) if path.startswith("/static/") else None
        if found:
            route.fulfill(path=found)
        elif path == "/":
            route.fulfill(body=html, content_type="text/html")
        else:
            route.fulfill(status=404)

    phone = size is PHONE
    context = browser.new_context(viewport=size, is_mobile=phone, has_touch=phone)
    page = context.new_page()
    page.route("**/*", answer)
    page.goto("http://design.test/")
    return page


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("theme", ["day", "night"])
def test_axe_finds_nothing(browser: Browser, theme: str, size: dict[str, int]):
    page = open_page(browser, theme, size)
    found = Axe().run(page).response
    assert [(v["id"], [n["html"] for n in v["nodes"]]) for v in found["violations"]] == []
    assert len(found["passes"]) > 20


@pytest.mark.parametrize("size", SIZES)
def test_night_shows_red_only_and_stays_below_its_limit(browser: Browser, size: dict[str, int]):
    page = open_page(browser, "night", size)
    page.get_by_text("Your account and theme").locator("..").click()
    picture = Image.open(io.BytesIO(page.screenshot(full_page=True))).convert("RGB")
    (_, red), (_, green), (_, blue) = picture.getextrema()
    assert (green, blue) == (0, 0)
    assert 0 < red <= BRIGHTEST_RED


def test_phone_never_scrolls_sideways(browser: Browser):
    page = open_page(browser, "day", PHONE)
    assert page.evaluate("document.documentElement.scrollWidth") == PHONE["width"]


def test_a_header_that_takes_a_fifth_of_the_screen_scrolls_away(browser: Browser):
    """WCAG 2.2, success criterion 1.4.4: text at 200%."""
    page = open_page(browser, "day", DESK)
    header = page.locator(".sky")
    assert header.evaluate("node => getComputedStyle(node).position") == "sticky"
    page.add_style_tag(content="html { font-size: 200% }")
    page.locator(".sky--tall").wait_for()
    assert header.evaluate("node => getComputedStyle(node).position") == "static"


TARGETS = """least => [...document.querySelectorAll(
    "a.btn, button, select, summary, .segments__item, .nav__link, label.choice, "
    + "input:not([type=radio], [type=checkbox], [type=hidden])")]
  .map(e => [e.outerHTML.slice(0, 80), e.getBoundingClientRect()])
  .filter(([, box]) => box.height > 0 && (box.height < least || box.width < least))
  .map(([html]) => html)"""
EVERY = """() => [...document.querySelectorAll("a, button, input, select, textarea, summary")]
  .map(e => [e.outerHTML.slice(0, 80), e.getBoundingClientRect(), getComputedStyle(e).display])
  .filter(([, box, display]) => display !== "inline" && box.height > 0)
  .filter(([, box]) => box.height < 24 || box.width < 24)
  .map(([html]) => html)"""


@pytest.mark.parametrize("size", SIZES)
def test_targets_are_large_enough(browser: Browser, size: dict[str, int]):
    # WCAG 2.2, success criterion 2.5.8: at least 24 by 24 CSS px, links inside a sentence excepted.
    page = open_page(browser, "day", size)
    assert page.evaluate(EVERY) == []
    # Under a thumb, 2.5.5 (AAA): 44 px.
    assert size is not PHONE or page.evaluate(TARGETS, 44) == []


@pytest.mark.parametrize("size", SIZES)
def test_field_screens_have_targets_for_cold_hands(browser: Browser, size: dict[str, int]):
    page = open_page(browser, "day", size, body_class="for-field")
    assert page.evaluate(TARGETS, 48) == []


@pytest.mark.parametrize(
    ("theme", "scheme", "night"),
    [
        ("day", "dark", False),
        ("night", "light", True),
        ("auto", "dark", True),
        ("auto", "light", False),
        ("made up", "dark", True),
    ],
)
def test_theme_follows_the_cookie_and_then_the_device(
    browser: Browser, theme: str, scheme: str, night: bool
):
    page = open_page(browser, theme, DESK)
    page.emulate_media(color_scheme=scheme)
    ground = page.evaluate("getComputedStyle(document.documentElement).backgroundColor")
    assert (ground == "rgb(0, 0, 0)") is night


def test_theme_changes_at_once_and_is_kept(browser: Browser):
    page = open_page(browser, "day", DESK)
    page.get_by_text("Your account and theme").locator("..").click()
    page.get_by_role("button", name="Night").click()
    assert page.locator("html").get_attribute("data-theme") == "night"
    assert page.evaluate("getComputedStyle(document.body).color") == "rgb(248, 0, 0)"
    assert "theme=night" in page.evaluate("document.cookie")
    assert page.get_by_role("button", name="Night").get_attribute("aria-pressed") == "true"
