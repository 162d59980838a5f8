"""How the survey opens: what it asks for, from where, and in which theme."""

import pytest

from surveys.web.survey.files import first_modules
from tests.browser.conftest import PHONE
from tests.browser.survey.conftest import (
    NIGHT,
    survey_url,
)

pytestmark = pytest.mark.django_db(transaction=True)

# Modules that had come when the first screen stood; those that follow are not there yet.
CAME_FIRST = """() => new Promise((done) => {
  const look = () => {
    if (!document.body?.dataset.ready) return;
    watch.disconnect();
    const names = performance.getEntriesByType("resource").map(({ name }) => name);
    done(names.map((name) => new URL(name).pathname).filter((name) => name.endsWith(".js")));
  };
  const watch = new MutationObserver(look);
  watch.observe(document, { attributes: true, childList: true, subtree: true });
  look();
})"""

# The one of the survey, and the one for addresses without a network.
BOTH_WORKERS = """async () => {
  const active = ({ active }) => active?.state === "activated";
  while ((await navigator.serviceWorker.getRegistrations()).filter(active).length < 2)
    await new Promise(requestAnimationFrame);
}"""

# What the browser draws around the page, and the bar below it.
COLORS = """() => {
  const bar = document.querySelector(".bar");
  const [shown, probe] = [getComputedStyle(bar).backgroundColor, document.createElement("i")];
  probe.style.color = document.querySelector('meta[name="theme-color"]').content;
  bar.append(probe);
  return [getComputedStyle(probe).color, shown];
}"""


def test_the_first_screen_is_asked_for_at_once(signed_in, observer, route):
    """The modules named by the page are those of the first screen, all of them and no others."""
    page = signed_in(observer, viewport=PHONE)
    page.goto(survey_url(observer), wait_until="commit")
    came = page.evaluate(CAME_FIRST)
    assert set(came) == set(first_modules())


def test_opens_from_the_phone_without_starting_the_worker(signed_in, observer, route, region):
    page = signed_in(observer, viewport=PHONE)
    page.goto(survey_url(observer))
    page.evaluate(BOTH_WORKERS)
    page.context.set_offline(True)
    page.reload()
    page.get_by_text("No route is saved on this phone yet.").wait_for()
    source = "() => performance.getEntriesByType('navigation')[0].workerFinalSourceType"
    assert page.evaluate(source) == "cache"
    every_address_leads_to_the_survey(page, observer)


def every_address_leads_to_the_survey(page, observer):
    """Offline: one of the guide to its page there, any other to the start."""
    page.goto(f"/{observer.program.slug}/tonight/")
    page.get_by_text("No route is saved on this phone yet.").wait_for()
    page.get_by_role("link", name="Guide, cautions and codes").click()
    page.get_by_role("link", name="Call index").click()
    page.get_by_role("heading", name="Near and far").wait_for()
    page.goto("/guide/rules/too-cold/")
    page.locator("#too-cold").wait_for()
    page.wait_for_function("() => scrollY > 0")
    page.goto("/guide/species/marsh-country/")
    page.get_by_text("Call: clear rising peep.").wait_for()
    page.goto("/guide/trend-method/")
    page.get_by_text("This page is not on this phone.").wait_for()
    page.get_by_role("link", name="How to survey").click()
    page.locator("#main").get_by_role("link", name="cautions").first.click()
    page.locator("#bar-title", has_text="Cautions").wait_for()
    for path in ("/", f"{survey_url(observer)}no-such-page/"):
        page.goto(path)
        page.get_by_text("No route is saved on this phone yet.").wait_for()
        # No visit is open, so nothing is promised of one.
        page.get_by_role("button", name="Visits on this phone").wait_for()


@pytest.mark.parametrize(
    ("chosen", "shown"), [("day", "day"), ("night", "night"), ("auto", "night")]
)
def test_the_theme_of_the_site_rules(phone, take_along, observer, chosen, shown):
    """It is dark outside: 49 minutes after sunset."""
    page = take_along()
    phone.context.add_cookies([{"name": "theme", "value": chosen, "url": page.url}])
    page.reload()
    page.get_by_role("button", name="Survey the night").wait_for()
    assert page.locator("html").get_attribute("data-theme") == shown


def test_auto_is_day_before_sunset(phone, take_along):
    page = take_along()
    phone.context.clock.set_fixed_time(f"{NIGHT}T22:00:00Z")  # 17:00 in Chicago
    page.reload()
    page.locator('html[data-theme="day"]').wait_for()


def test_the_switch_of_the_survey_holds_for_the_site(phone, take_along, observer):
    page = take_along()
    page.get_by_role("button", name="Night or day").click()
    page.locator('html[data-theme="day"]').wait_for()
    around, bar = page.evaluate(COLORS)
    assert around == bar != "rgb(0, 0, 0)"
    page.goto(f"/{observer.program.slug}/tonight/")
    assert page.locator("html").get_attribute("data-theme") == "day"
    page.goto(survey_url(observer))
    page.get_by_text("Settings").click()
    page.get_by_label("Night after dusk").check()
    page.locator('html[data-theme="night"]').wait_for()
