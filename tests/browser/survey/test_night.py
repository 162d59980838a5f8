"""One night on the phone: the route taken along, the phone killed midway, the server at last."""

import datetime as dt
import time

import pytest

from surveys.check_ins.contacts import add_member
from surveys.models import (
    CheckIn,
    Visit,
    VisitState,
)
from tests.browser.conftest import fill_sign_in
from tests.browser.survey.conftest import (
    EVENING,
    NIGHT,
    survey_url,
)
from tests.support.builders import make_member

STOPS = range(1, 11)
SKIPPED = 7
KILLED_AT = 5
HEARD = {
    n: {"pseudacris-crucifer": 1 + n % 3, **({"lithobates-sylvaticus": 1} if n % 2 else {})}
    for n in STOPS
    if n not in (SKIPPED, 9)
}


class Observer:
    """Taps the screen and keeps a book of what was entered."""

    def __init__(self, phone, member, route):
        self.phone, self.member, self.route = phone, member, route
        self.book: dict[str, str] = {}

    @property
    def page(self):
        return self.phone.page

    def tap(self, name, **options):
        self.page.get_by_role("button", name=name, **options).click()

    def pick(self, address, option):
        self.page.locator(f'[data-cell="{address}"]').click()
        self.page.locator("dialog[open]").get_by_role("button", name=option).first.click()

    def go_to(self, number):
        place = self.route.stops.get(number=number).place
        self.phone.context.set_geolocation(
            {"latitude": place.y + 0.0001, "longitude": place.x, "accuracy": 8}
        )

    def heard(self, number):
        for code, index in HEARD.get(number, {}).items():
            for _ in range(index):
                self.page.locator(f'[data-species="{code}"]').click()
            self.book[f"stops.{number}.calls.{code}"] = str(index)

    def wait_for_phase(self, words):
        self.page.locator(".phase__what", has_text=words).wait_for()

    def stored(self):
        """Every cell on the phone's disk."""
        return self.page.evaluate(
            """async () => {
              const { getAll } = await import("/static/survey/store.js");
              const cells = await getAll("cells");
              return Object.fromEntries(
                cells.filter((c) => c.text).map((c) => [c.address, c.text]),
              );
            }"""
        )

    def stop(self, number, *, kill=False):
        page = self.page
        page.get_by_role("heading", name=f"Stop {number} of 10").wait_for()
        if number == SKIPPED:
            self.tap("Skip this stop")
            self.tap("Unsafe to stop")
            self.book |= {
                f"stops.{number}.status": "skipped",
                f"stops.{number}.skip_reason": "Unsafe to stop",
            }
            self.wait_for_phase("Skipped")
            self.page.get_by_role("button", name="Undo skip").wait_for()
            return
        self.go_to(number)
        self.wait_for_phase("Quiet wait")
        self.phone.pass_time(seconds=61)
        self.wait_for_phase("Ready to listen")
        self.tap("Start listening")
        self.wait_for_phase("Listening")
        self.heard(number)
        if kill:
            self.killed_in_the_middle(number)
        self.pick(f"stops.{number}.beaufort", "2 light breeze")
        self.pick(f"stops.{number}.sky", "partly cloudy")
        self.pick(f"stops.{number}.noise", "heard through")
        self.book |= {
            f"stops.{number}.beaufort": "2",
            f"stops.{number}.sky": "partly_cloudy",
            f"stops.{number}.noise": "heard_through",
        }
        self.phone.pass_time(minutes=4)
        self.wait_for_phase("Stop done")

    def killed_in_the_middle(self, number):
        self.phone.pass_time(seconds=60)
        left = self.page.locator(".ring__time").inner_text()
        # A tap is on the disk some milliseconds later; killed before that, it is lost.
        taps = {f"stops.{number}.calls.{code}": str(i) for code, i in HEARD[number].items()}
        deadline = time.monotonic() + 10
        while not taps.items() <= self.stored().items() and time.monotonic() < deadline:
            time.sleep(0.02)
        self.phone.kill()
        self.phone.start(offline=True)
        self.page.goto(survey_url(self.member))
        self.page.get_by_role("heading", name=f"Stop {number} of 10").wait_for()
        self.wait_for_phase("Listening")
        again = self.page.locator(".ring__time").inner_text()
        assert seconds(left) - 30 < seconds(again) <= seconds(left) < 180
        for code, index in HEARD[number].items():
            row = self.page.locator(f'[data-species="{code}"]')
            assert f"call index {index}" in row.get_attribute("aria-label")


@pytest.fixture
def phone_options() -> dict:
    return {"permissions": ["geolocation"], "killable": True}


def seconds(shown):
    minutes, rest = shown.split(":")
    return 60 * int(minutes) + int(rest)


@pytest.mark.django_db(transaction=True)
def test_a_night_without_a_network_and_a_killed_phone(phone, observer, route, take_along):
    mate = make_member(observer.program)
    contact = add_member(observer, mate.person_id, site_url="https://frogs.example.org/")
    page = take_along(by_the_page=True)
    phone.context.set_offline(True)
    page.reload()
    me = Observer(phone, observer, route)
    me.tap("Survey the night of 15 April 2024")
    page.get_by_text("Set a return time").click()
    page.get_by_text("It cannot call for help").wait_for()
    page.get_by_label("Back by").fill("00:30")
    me.tap("Set the return time")
    page.get_by_text("Until it is sent, no one is told").wait_for()
    me.pick("start.beaufort", "1 light air")
    me.pick("start.sky", "clear")
    me.book |= {"start.beaufort": "1", "start.sky": "clear"}
    page.locator('[data-cell="start.air_temperature"]').click()
    page.get_by_label("Air temperature in °C").fill("11.5")
    page.get_by_role("button", name="Done").click()
    me.book["start.air_temperature"] = "11.5"
    me.tap("Go to stop 1")
    for number in STOPS:
        me.stop(number, kill=number == KILLED_AT)
        me.tap("Go to the summary" if number == 10 else f"Next: stop {number + 1}")
    page = me.page
    me.tap("We are back")
    page.get_by_text("You are back. The site will know once there is signal").wait_for()
    page.get_by_label("Second observer, a member").select_option(label=mate.person.name)
    page.get_by_label("Second observer, a guest").fill("Alex Marsh")
    me.book |= {"second_member": str(mate.person_id), "second_observer": "Alex Marsh"}
    me.pick("end.beaufort", "2 light breeze")
    me.pick("end.sky", "partly cloudy")
    me.book |= {"end.beaufort": "2", "end.sky": "partly_cloudy", "night": NIGHT}
    me.book |= {"temperature_unit": "C", "rain_unit": "mm"}
    page.get_by_role("button", name="Submit the visit").click()
    page.get_by_text("Stops surveyed: 9 of 10. Skipped: 1.").wait_for()
    page.get_by_role("button", name="Yes, submit").click()
    page.get_by_text("No signal. Everything is saved on this phone").wait_for()
    assert Visit.objects.count() == 0
    entered = me.stored()
    written_down = {k: v for k, v in entered.items() if not k.endswith(PLACES_AND_TIMES)}
    assert written_down == me.book | {
        f"stops.{n}.status": "listened" for n in STOPS if n != SKIPPED
    }

    # Sixty days are over, or the browser lost its cookies when it died.
    phone.context.clear_cookies()
    phone.context.set_offline(False)
    page.get_by_role("button", name="Send now").click()
    page.get_by_text("You are signed out. Nothing is lost").wait_for()
    page.get_by_role("link", name="Sign in").click()
    fill_sign_in(page, observer.person.email)
    page.get_by_text("This visit is submitted").wait_for()
    page.get_by_text("Thank you.").wait_for()

    visit = Visit.objects.get()
    assert visit.cells == entered
    assert (visit.state, visit.source, visit.observer) == (
        VisitState.SUBMITTED,
        "phone",
        observer.person,
    )
    assert visit.second_member == mate.person
    came_back = CheckIn.objects.get()
    assert (came_back.person, came_back.route, came_back.contact) == (
        observer.person,
        route,
        contact,
    )
    # 00:30 of the next day where daylight saving time is in force.
    assert came_back.back_by == dt.datetime(2024, 4, 16, 5, 30, tzinfo=dt.UTC)
    assert came_back.back_at < came_back.back_by
    assert visit.protocol_version == route.protocol.versions.get()
    calls = {
        period.stop.number: {call.species.code: call.index for call in period.calls.all()}
        for period in visit.periods.all()
    }
    assert calls == {n: HEARD.get(n, {}) for n in STOPS}
    for period in visit.periods.exclude(status="skipped"):
        assert period.finished_at - period.started_at == dt.timedelta(seconds=180)
        assert period.started_at - period.arrived_at >= dt.timedelta(seconds=60)
        assert EVENING < period.arrived_at < EVENING + dt.timedelta(hours=2)
        assert period.measured_accuracy_m == 8
    # No temperature at the end was written, on purpose: phone and server say it alike.
    (finding,) = visit.findings.all()
    assert finding.code == "temperature-missing"
    page.reload()
    page.get_by_text("This visit is submitted").wait_for()
    assert page.locator(".finding p").first.inner_text() == finding.message
    assert Visit.objects.count() == 1


PLACES_AND_TIMES = (
    "arrived_at",
    "started_at",
    "finished_at",
    "latitude",
    "longitude",
    "accuracy_m",
)
