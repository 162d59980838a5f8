"""The whole way of a call: practiced, proven in a test, heard at night without signal and recorded,
heard again by two people who do not see the sheet, and part of a trend that knows mistakes."""

import datetime as dt
import re

import numpy as np
import pytest
from django.utils import timezone
from playwright.sync_api import expect

from accounts.models import Role
from accounts.training import Validity, validity_on
from surveys.fitting.refit import refit
from surveys.models import (
    CallIndex,
    CallTestQuestion,
    Confirmation,
    PracticeAnswer,
    Recording,
    Species,
    Visit,
    VisitState,
)
from surveys.programs.assignments import today_of
from surveys.sound.questions import Question
from surveys.trends.sensitivity import FEWEST_CERTAIN
from surveys.visits import verbs
from tests.browser.survey.conftest import until
from tests.browser.survey.test_recordings import record
from tests.support.builders import make_accepted_visit, make_member, make_route
from tests.support.call_tests import make_test
from tests.support.sounds import keep, sound

pytestmark = pytest.mark.django_db(transaction=True)
PEEPER, WOOD_FROG = "pseudacris-crucifer", "lithobates-sylvaticus"
CHANGE = r"\S+% \(.+ to .+%\)"
YEARS, ROUTES, STOPS = range(2019, 2024), 12, 5


@pytest.fixture
def phone_options() -> dict:
    return {"permissions": ["geolocation", "microphone"]}


@pytest.fixture
def past(program, observer, route):
    """Seasons in which the peeper was heard at half of the stops, and one confirmation fewer than
    the line with confirmed calls needs."""
    peeper = Species.objects.get(code=PEEPER)
    rng = np.random.default_rng(3)
    there = rng.random((ROUTES, STOPS)) < 0.5
    for number in range(ROUTES):
        of_past = make_route(program, version=route.protocol.versions.get(), stops=STOPS)
        for year in YEARS:
            for month in (4, 5, 6):
                heard = there[number] & (rng.random(STOPS) < 0.7)
                last = make_accepted_visit(
                    of_past,
                    observer.person,
                    night=dt.date(year, month, 10),
                    heard={stop + 1: {peeper: 2} for stop in np.flatnonzero(heard)},
                )
    recording = keep(observer, last, sound(), stop=1, species=PEEPER)
    somebody = make_member(program, Role.COORDINATOR).person
    Confirmation.objects.bulk_create(
        Confirmation(call=call, recording=recording, by=somebody, at=timezone.now())
        for call in CallIndex.objects.filter(index__isnull=False).exclude(period__visit=last)[
            : FEWEST_CERTAIN - 1
        ]
    )


def test_the_whole_way_of_a_call(
    phone, past, take_along, signed_in, program, observer, coordinator
):
    desk = signed_in(observer)
    pass_test(desk, program, observer, coordinator)
    visit = survey(phone, take_along, program)
    recording = visit.recordings.get()
    second = make_member(program, Role.COORDINATOR)
    for listener in (coordinator, second):
        hear_again(signed_in(listener), program, recording)
    call = CallIndex.objects.get(period__visit=visit, species__code=PEEPER)
    assert (call.confirmation.without_sheet, call.confirmation.by) == (True, second.person)
    page = signed_in(coordinator)
    _, confirmed = lines_of_the_trend(page, program)
    assert "not enough data" in confirmed
    accept(coordinator, visit)
    told, confirmed = lines_of_the_trend(page, program)
    for line in (told, confirmed):
        assert re.search(CHANGE, line)
    # That some detections may be wrong changes the trend, or at least how sure it is.
    assert re.search(CHANGE, told)[0] != re.search(CHANGE, confirmed)[0]


def pass_test(desk, program, observer, coordinator):
    make_test(coordinator, PEEPER, WOOD_FROG, questions=6)
    desk.goto(f"/{program.slug}/call-test")
    desk.get_by_role("button", name="Begin the test").click()
    for number in range(1, 7):
        desk.get_by_text(f"Question {number} of 6").wait_for()
        question = Question.from_plain(CallTestQuestion.objects.get(number=number).question)
        for code, index in question.there.items():
            desk.locator(f'[name="heard-{code}"][value="{index or 1}"]').check()
        desk.get_by_role("button", name="Save and continue").click()
    expect(desk.get_by_text("Passed").first).to_be_visible()
    observer.refresh_from_db()
    assert validity_on(observer, today_of(program)) is Validity.VALID


def survey(phone, take_along, program):
    page = take_along()
    phone.context.set_offline(True)
    practice(page)
    page.get_by_role("button", name="Survey the night of 15 April 2024").click()
    page.get_by_role("button", name="Go to stop 1").click()
    page.get_by_role("button", name="I am at the stop").click()
    page.get_by_role("button", name="Start listening early").click()
    page.locator(f'[data-species="{PEEPER}"]').click()
    record(page)
    page.get_by_label("Species").select_option(PEEPER)
    page.get_by_role("button", name="Done").click()
    phone.pass_time(minutes=4)
    page.get_by_role("button", name="Back").click()
    page.get_by_role("button", name="Finish route").click()
    page.get_by_role("button", name="Submit the visit").click()
    page.get_by_role("button", name="Yes, submit").click()
    phone.context.set_offline(False)
    page.get_by_text("This visit is submitted").wait_for()
    page.get_by_text("1 recording on the server.").wait_for()
    until(page, lambda: PracticeAnswer.objects.filter(program=program).count() == 1)
    visit = Visit.objects.get(night=dt.date(2024, 4, 15))
    assert Recording.objects.get(visit=visit).species.code == PEEPER
    return visit


def practice(page):
    """A question on the phone, answered without signal."""
    page.get_by_role("link", name="Practice calls").click()
    question = page.get_by_role("region", name="Question")
    question.locator("input").first.check()
    question.get_by_role("button", name="Answer", exact=True).click()
    expect(page.get_by_text("1 answer waits for signal.")).to_be_visible()
    page.go_back()


def hear_again(page, program, recording):
    page.goto(f"/{program.slug}/listening/{recording.pk}")
    # Nothing of the sheet shows: neither its answers nor whose they are.
    answered = page.locator("main form :checked").evaluate_all("all => all.map((one) => one.value)")
    assert set(answered) == {""}
    assert recording.visit.observer.name not in page.locator("main").inner_text()
    peeper = page.get_by_role("group", name=Species.objects.get(code=PEEPER).name)
    peeper.get_by_label("1", exact=True).check()
    page.get_by_role("button", name="Save and hear the next").click()
    expect(page.get_by_text("Your answer is saved.")).to_be_visible()


def accept(coordinator, visit):
    visit.refresh_from_db()
    while finding := visit.findings.filter(severity="query", settlement="").first():
        visit = verbs.settle(
            coordinator,
            finding.pk,
            settlement="counts",
            reason="One stop was enough for tonight.",
            revision=visit.revision,
            whole_kind=True,
        )
    visit = verbs.accept(coordinator, visit.pk, revision=visit.revision)
    assert visit.state == VisitState.ACCEPTED


def lines_of_the_trend(page, program):
    """As it is told, and with mistakes of the ear."""
    refit(program)
    page.goto(f"/{program.slug}/trends/species/{PEEPER}/")
    names = ("[Aa]ll data", "as confirmed calls suggest")
    return [page.get_by_role("row", name=re.compile(name)).inner_text() for name in names]
