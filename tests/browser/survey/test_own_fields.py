"""A night on the phone with fields that the program added: no network, then the server."""

import datetime as dt

import pytest

from surveys.models import Visit, VisitState
from tests.browser.survey.conftest import NIGHT
from tests.support.builders import make_own_field

pytestmark = pytest.mark.django_db(transaction=True)
LONG_AGO = dt.date(2000, 1, 1)
ANSWERS = [["reed", "Reed bed"], ["open", "Open shore"]]


@pytest.fixture
def fields(program):
    make_own_field(program, "Salinity", unit="ppt", low=0, high=45, required_from=LONG_AGO)
    make_own_field(program, "Egg masses", kind="whole", help="Count from the shore")
    make_own_field(program, "Shore", kind="choice", choices=ANSWERS)
    make_own_field(program, "Ditch mown", kind="yes_no")
    make_own_field(program, "Begun later", asked_from=dt.date(2024, 4, 16))
    make_own_field(program, "Ended", asked_until=dt.date(2024, 4, 14))
    make_own_field(program, "Leader", kind="text", per="visit", required_from=LONG_AGO)


def tile(page, address):
    return page.locator(f'[data-cell="{address}"]')


def test_own_fields_are_filled_in_without_signal_and_arrive(phone, fields, take_along, look):
    page = take_along(by_the_page=True)
    phone.context.set_offline(True)
    page.reload()
    page.get_by_role("button", name="Survey the night of 15 April 2024").click()
    page.get_by_role("button", name="Go to stop 1").click()
    page.get_by_role("button", name="I am at the stop").click()
    phone.pass_time(seconds=61)
    page.get_by_role("button", name="Start listening").click()

    tile(page, "stops.1.own.egg_masses").click()
    dialog = page.locator("dialog[open]")
    dialog.get_by_text("Count from the shore").wait_for()
    for _ in range(2):
        dialog.get_by_role("button", name="up 1").click()
    assert dialog.get_by_label("Egg masses").input_value() == "2"
    look("own-count")
    dialog.get_by_role("button", name="Done").click()
    tile(page, "stops.1.own.shore").click()
    dialog.get_by_role("button", name="Open shore").click()
    assert "Open shore" in tile(page, "stops.1.own.shore").inner_text()
    tile(page, "stops.1.own.ditch_mown").click()
    dialog.get_by_role("button", name="No").click()
    assert page.locator('[data-cell$="own.begun_later"], [data-cell$="own.ended"]').count() == 0
    phone.pass_time(minutes=4)
    blank = page.locator(".finding").get_by_text(
        "“Salinity” is blank at stop 1; your program asks for it."
    )
    blank.wait_for()
    look("own-stop")
    tile(page, "stops.1.own.salinity").click()
    dialog.get_by_text("ppt").wait_for()
    dialog.get_by_role("textbox").fill("12,5")
    look("own-number")
    dialog.get_by_role("button", name="Done").click()
    blank.wait_for(state="detached")

    page.get_by_role("button", name="Back").click()
    page.get_by_role("button", name="Finish route").click()
    page.locator(".finding").get_by_text("“Leader” is blank; your program asks for it.").wait_for()
    tile(page, "own.leader").click()
    dialog.get_by_role("textbox").fill("Wren Holloway")
    dialog.get_by_role("button", name="Done").click()
    look("own-summary")
    page.get_by_role("button", name="Submit the visit").click()
    page.get_by_role("button", name="Yes, submit").click()
    phone.context.set_offline(False)
    page.get_by_text("This visit is submitted").wait_for()

    visit = Visit.objects.get(night=NIGHT)
    assert visit.state == VisitState.SUBMITTED
    assert visit.own_fields == {"leader": "Wren Holloway"}
    period = visit.periods.get(stop__number=1)
    assert period.own_fields == {
        "egg_masses": 2,
        "shore": "open",
        "ditch_mown": False,
        "salinity": 12.5,
    }
    assert not visit.findings.filter(code__in=["own-field-missing", "cell-unknown"]).exists()
