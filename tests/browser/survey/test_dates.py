"""The phone writes dates and clock times as the server does."""

import re

import pytest

from tests.support.date_cases import CLOCK_STYLES, CLOCKS, DAYS, ORDERS

pytestmark = pytest.mark.django_db(transaction=True)

WRITE = """async ([styles, orders, clocks, days]) => {
  const { clock, clockWithSeconds, day, monthDay } = await import("/static/survey/rules/words.js");
  const page = document.documentElement.dataset;
  const at = (time) => Date.parse(`2024-04-15T${time}Z`);
  return [
    styles.map((style) => {
      page.clock = style;
      return clocks.map(([time, seconds]) => (seconds ? clockWithSeconds : clock)(at(time), "UTC"));
    }),
    orders.map((order) => {
      page.dateOrder = order;
      return days.map((date) => [day(date), monthDay(date.slice(5))]);
    }),
  ];
}"""


def test_written_alike(signed_in, observer, route):
    page = signed_in(observer)
    page.goto(f"/{observer.program.slug}/survey/")
    cases = [CLOCK_STYLES, ORDERS, [row[:2] for row in CLOCKS], [row[0] for row in DAYS]]
    clocks, days = page.evaluate(WRITE, cases)
    assert clocks == [[row[2] for row in CLOCKS], [row[3] for row in CLOCKS]]
    assert days == [[list(row[at]) for row in DAYS] for at in (1, 2, 3)]


@pytest.fixture
def phone_options() -> dict:
    """The kept screen would have the dates of another program."""
    return {"permissions": ["geolocation"], "new": True}


def test_a_night_of_an_american_program(phone, observer, take_along):
    program = observer.program
    program.clock_style, program.date_order = "12", "mdy"
    program.save()
    page = take_along("April 15, 2024")
    page.get_by_text(re.compile(r"Sunset 7:4\d\spm")).wait_for()
