"""What a new version would change is told before it is published, by cause."""

import datetime as dt
import html
import re
from copy import deepcopy

import pytest
from django.urls import reverse
from django.utils import timezone

from surveys.models import CallIndex, ReviewStep, Step, Visit
from surveys.publishing.causes import Visits, grouped_numbers, grouped_visits
from surveys.publishing.differences import NumberChange, VisitChange, Why, difference
from surveys.publishing.publish import preview
from surveys.publishing.upcoming import check_reason, upcoming
from surveys.web.publications.forms import PublishForm
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_member,
    make_program,
    make_route,
)
from tests.support.publishing import publish_now

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def published(module_rows):
    """Published once; since then one visit dropped out, one was corrected, one came."""
    program = make_program()
    observer, coordinator = (make_member(program, role) for role in ("observer", "coordinator"))
    (peeper,) = make_checklist(program, "Pseudacris crucifer")
    route = make_route(program, code="R7")
    make_route(program, code="R8")
    gone, louder, _ = [
        make_accepted_visit(route, observer.person, night=night, heard={1: {peeper: 1}})
        for night in (dt.date(2023, 4, 2), dt.date(2024, 4, 20), dt.date(2024, 5, 9))
    ]
    assert upcoming(program, preview(program, 2024)) is None
    first = publish_now(coordinator, 2024)
    Visit.objects.filter(pk=gone.pk).update(counts_in_trends=False)
    CallIndex.objects.filter(period__visit=louder).update(index=3)
    steps = [(gone, Step.REOPENED), (louder, Step.REOPENED), (louder, Step.CORRECTED),
             (louder, Step.ACCEPTED)]  # fmt: skip
    for visit, step in steps:
        ReviewStep.objects.create(
            visit=visit, step=step, by=coordinator.person, at=timezone.now(), revision=2
        )
    make_accepted_visit(route, observer.person, night=dt.date(2024, 6, 1))
    return {"coordinator": coordinator, "first": first}


@pytest.fixture
def coordinator(published):
    return deepcopy(published["coordinator"])


@pytest.fixture
def changes(coordinator):
    return upcoming(coordinator.program, preview(coordinator.program, 2024))


@pytest.fixture
def page(coordinator, client_for):
    client = client_for(coordinator)
    address = reverse("web:publish", kwargs={"program": coordinator.program.slug})
    return lambda **posted: (
        client.post(address, {"year": 2024} | posted)
        if posted
        else client.get(address + "?year=2024")
    )


def text_of(response):
    words = html.unescape(re.sub(r"<[^>]+>", " ", response.content.decode()))
    return " ".join(words.split())


def test_it_tells_what_the_difference_tells_afterwards(coordinator, published, changes):
    after = difference(published["first"], publish_now(coordinator, 2024, "A visit came."))

    def keys(visits):
        return [one.visit for one in visits]

    assert keys(changes.visits.came) == keys(after.came)
    assert keys(changes.visits.went) == keys(after.went)
    assert keys(changes.visits.changed) == keys(after.changed)
    assert changes.numbers == after.numbers["yearly"]
    assert len(changes.numbers) > 5


def test_page_groups_by_cause_and_says_what_drops_out(page):
    text = text_of(page())
    for words in (
        "1 visit of the last version drops out.",
        "Removed visits: 1 Reopened: 1 visit",
        "Visits that may change: 1 Reopened, then corrected, then accepted: 1 visit",
        "Added visits: 1 No review step: 1 visit",
        "1 visit added and 1 visit changed.",
        "Season 2023:",
        "Publish without the 1 visit that drops out",
    ):
        assert words in text


@pytest.mark.parametrize(
    ("reason", "says"),
    [
        ("Two visits of 2019 came in late.", "names 2019. What changes is of 2023 and 2024."),
        ("A mistake on R8.", "The reason names route R8. No visit of it changes."),
        ("A mistake on R7 in 2024, and one of 2023.", None),
        ("Someone typed 12 for 21.", None),
    ],
)
def test_reason_is_checked_against_what_changes(page, changes, reason, says):
    posted = {"reason": reason, "without_gone": "on", "seen": preview_seen(changes)}
    response = page(**posted)
    if says is None:
        assert response.status_code == 302
        return
    assert says in text_of(response)
    assert page(**posted, as_it_is="on").status_code == 302


def preview_seen(changes):
    return preview(changes.previous.program, 2024).sha256


def test_what_drops_out_is_agreed_to(page, changes):
    response = page(reason="A visit of 2023 was on the wrong road.", seen=preview_seen(changes))
    assert response.status_code == 422
    assert "Check this box if they are to drop out" in text_of(response)


def test_nothing_drops_out_nothing_is_asked(coordinator):
    publish_now(coordinator, 2024, "As it is now.")
    shown = preview(coordinator.program, 2024)
    changes = upcoming(coordinator.program, shown)
    assert changes.nothing
    form = PublishForm(preview=shown, open_count=0, changes=changes)
    assert "without_gone" not in form.fields
    with pytest.raises(Exception, match="What changes is of no season"):
        check_reason("Numbers of 2023 were wrong.", changes)


def visit(name, year, *steps):
    why = tuple(Why(step=one, at=timezone.now(), by="", note="") for one in steps)
    return VisitChange(
        visit=name, route="R1", night=dt.date(year, 4, 1), season_year=year, observer="", why=why
    )


def test_groups_largest_first_and_without_a_step_last():
    groups = grouped_visits(
        [visit("a", 2024), visit("b", 2024), visit("c", 2024, "Set aside"),
         visit("d", 2024, "Reopened", "Reopened", "Corrected")]
    )  # fmt: skip
    assert [(group.cause, len(group.visits)) for group in groups] == [
        ("reopened, then corrected", 1),
        ("set aside", 1),
        ("", 2),
    ]


def test_numbers_of_a_season_without_changed_visits_have_another_cause():
    numbers = [
        NumberChange(key=("Hyla", year), column="stops", before=1, after=2)
        for year in (2022, 2023, 2023)
    ]
    visits = Visits(came=[visit("a", 2023)], went=[], changed=[])
    latest, earlier = grouped_numbers("yearly", numbers, visits)
    assert (latest.season_year, len(latest.numbers), latest.cause) == (2023, 2, "1 visit added.")
    assert earlier.cause.startswith("No visit of this season changed")
    trends = [NumberChange(key=("Hyla",), column="trend", before=1, after=2)]
    (whole,) = grouped_numbers("trends", trends, visits)
    assert (whole.season_year, whole.cause) == (None, "1 visit added.")
