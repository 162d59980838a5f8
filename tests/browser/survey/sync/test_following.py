"""What the phone learns of visits that it has sent: that they came back, or were accepted."""

import datetime as dt

import pytest

from surveys.models import Visit, VisitState
from surveys.visits.verbs import accept, send_back, settle, submit_visit
from tests.browser.survey.sync.handset import Handset
from tests.support.builders import make_route
from tests.support.sheets import make_draft, plain_cells

pytestmark = pytest.mark.django_db(transaction=True)

PEEPER = "pseudacris-crucifer"
# The phone asks once a minute at most.
A_MINUTE_LATER = """() => {
  const real = performance.now.bind(performance);
  performance.now = () => real() + 61_000;
}"""


@pytest.fixture
def earlier(observer, route) -> Visit:
    """A draft of another night, which comes along with the route."""
    night = dt.datetime.now(dt.UTC).date() - dt.timedelta(days=2)
    return make_draft(observer, route, plain_cells(), night=night)


@pytest.fixture
def route(program, checklist):
    return make_route(program)


def hears(phone: Handset, words: str) -> None:
    phone.page.locator("#snack", has_text=words).wait_for()


def state_on(phone: Handset, visit: Visit) -> str:
    return phone.record(str(visit.pk))["state"]


def test_a_visit_that_came_back_or_was_accepted(open_phone, observer, coordinator, route, earlier):
    phone = open_phone(observer)
    phone.begin(route.code)
    phone.tap_species(1, PEEPER)
    phone.submit()
    phone.page.get_by_text("This visit is submitted").first.wait_for()
    tonight = Visit.objects.get(pk=phone.visit)

    # When the survey is opened.
    send_back(coordinator, tonight.pk, note="Was there fog?", revision=tonight.revision)
    phone.reload()
    hears(phone, "is back with you. Open it to see why.")
    assert state_on(phone, tonight) == VisitState.SENT_BACK
    phone.show("route").get_by_text("Was there fog?").first.wait_for()
    phone.show("summary").get_by_text("Was there fog?").first.wait_for()
    phone.page.get_by_text("This visit was sent back.").first.wait_for()

    # After what was entered has been sent.
    accept_as_it_is(observer, coordinator, earlier)
    phone.page.evaluate(A_MINUTE_LATER)
    phone.tap_species(2, PEEPER)
    hears(phone, "is accepted. Thank you.")
    assert state_on(phone, earlier) == VisitState.ACCEPTED

    # When the network is back, with nothing to send.
    phone.set_offline(True)
    accept_as_it_is(observer, coordinator, tonight)
    phone.page.locator("#snack > div").wait_for(state="detached")
    phone.set_offline(False)
    hears(phone, "is accepted. Thank you.")
    assert state_on(phone, tonight) == VisitState.ACCEPTED


def accept_as_it_is(observer, coordinator, visit: Visit) -> None:
    visit.refresh_from_db()
    submitted = submit_visit(observer, visit.pk, revision=visit.revision)
    for finding in submitted.findings.filter(severity="query"):
        answer = {"settlement": "counts", "reason": "As it was.", "revision": submitted.revision}
        submitted = settle(coordinator, finding.pk, **answer)
    accept(coordinator, visit.pk, revision=submitted.revision)
