"""The difference of two versions: which visits came, went and changed, and which numbers."""

import csv
import datetime as dt
import re
import uuid
from copy import deepcopy

import pgtrigger
import pytest
from django.urls import reverse
from django.utils import timezone

from accounts.models import Role
from surveys.models import CallIndex, Confirmation, PublicationPiece, ReviewStep, Step, Visit
from surveys.publishing.causes import Visits, grouped_numbers, grouped_visits
from surveys.publishing.differences import OBSERVER, difference
from surveys.publishing.files import text_of
from surveys.publishing.publish import preview
from surveys.publishing.reading import rows_of
from surveys.publishing.upcoming import upcoming
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_member,
    make_program,
    make_route,
)
from tests.support.publishing import publish_now
from tests.support.sounds import keep, sound

pytestmark = pytest.mark.django_db
MOST_BYTES = 150_000
ROLES = (Role.COORDINATOR, Role.OBSERVER, Role.OBSERVER)


def make_visits(program, observer):
    (peeper,) = make_checklist(program, "Pseudacris crucifer")
    route = make_route(program, code="R7")
    return [
        make_accepted_visit(route, observer.person, night=night, heard={1: {peeper: 1}})
        for night in (dt.date(2024, 4, 2), dt.date(2024, 4, 20), dt.date(2024, 5, 9))
    ]


def step(visit, member, step, note=""):
    ReviewStep.objects.create(
        visit=visit, step=step, by=member.person, at=timezone.now(), revision=2, note=note
    )


@pytest.fixture(scope="module")
def published_twice(module_rows):
    program = make_program()
    observer, coordinator = (make_member(program, role) for role in ("observer", "coordinator"))
    visits = make_visits(program, observer)
    first = publish_now(coordinator, 2024)
    gone, louder, same = visits
    Visit.objects.filter(pk=gone.pk).update(counts_in_trends=False)
    step(gone, coordinator, Step.REOPENED, "It was the wrong road.")
    CallIndex.objects.filter(period__visit=louder).update(index=3)
    step(louder, coordinator, Step.CORRECTED, "Chorus, see recording.")
    step(same, coordinator, Step.SUBMITTED)
    make_accepted_visit(same.route, observer.person, night=dt.date(2024, 6, 1))
    second = publish_now(coordinator, 2024, "Two mistakes were found.")
    return {"coordinator": coordinator, "visits": visits, "versions": (first, second)}


@pytest.fixture
def made(published_twice, db):
    return deepcopy(published_twice)


@pytest.fixture
def coordinator(made):
    return made["coordinator"]


@pytest.fixture
def program(coordinator):
    return coordinator.program


@pytest.fixture
def visits(made):
    return made["visits"]


@pytest.fixture
def versions(made):
    return made["versions"]


def test_which_visits_and_why(versions, visits):
    found = difference(*versions)
    gone, louder, _ = visits
    assert [one.night for one in found.came] == [dt.date(2024, 6, 1)]
    assert [one.visit for one in found.went] == [str(gone.pk)]
    assert [(why.step, why.note) for why in found.went[0].why] == [
        ("Reopened", "It was the wrong road.")
    ]
    # The visits after the one that went have another number within their season, no more.
    assert [(one.visit, one.what) for one in found.changed] == [
        (str(louder.pk), ("what was heard",))
    ]
    assert [why.step for why in found.changed[0].why] == ["Corrected"]
    assert not found.nothing


def test_which_numbers(versions):
    numbers = difference(*versions).numbers
    (louder,) = [one for one in numbers["yearly"] if one.column == "mean_index"]
    assert (louder.before, louder.after) == (pytest.approx(1 / 3), pytest.approx(1.0))
    assert louder.key == ("Pseudacris crucifer", 2024)
    assert not [one for one in numbers["yearly"] if one.column == "stops"]
    assert {one.column for one in numbers["yearly"]} >= {"first_night", "share_index_3"}


def test_a_version_does_not_differ_from_itself(versions):
    assert difference(versions[0], versions[0]).nothing


def test_what_was_done_later_is_no_reason(versions, visits, coordinator):
    step(visits[1], coordinator, Step.SET_ASIDE, "Much later.")
    found = difference(*versions)
    assert "Much later." not in str(found)


def page(client, program, version=2, **query):
    kwargs = {"program": program.slug, "season_year": 2024, "version": version}
    return client.get(reverse("web:publication_changes", kwargs=kwargs), query)


def test_page_for_coordinator_and_partner(program, versions, coordinator, partner, client_for):
    text = page(client_for(coordinator), program).content.decode()
    for words in (
        "Two mistakes were found.",
        "Added visits: 1",
        "Removed visits: 1",
        "Chorus, see recording.",
        coordinator.person.name,
        "0.3333",
        "1.0000",
    ):
        assert words in text
    text = page(client_for(partner), program).content.decode()
    assert "Removed visits: 1" in text
    assert "Reopened" in text
    # Neither who did it nor what coordinators wrote to each other.
    assert coordinator.person.name not in text
    assert "It was the wrong road." not in text
    assert "Observer " in text


def test_all_rows_as_a_file_and_one_group_as_a_page(
    program, versions, coordinator, partner, client_for
):
    found = difference(*versions)
    numbers = sum(map(len, found.numbers.values()))
    for client, is_told in ((client_for(coordinator), True), (client_for(partner), False)):
        rows = list(csv.reader(page(client, program, csv="1").content.decode().splitlines()))
        assert len(rows) == 1 + 3 + numbers
        assert len({len(row) for row in rows}) == 1
        (gone,) = [row for row in rows if row[0] == "Removed visits"]
        assert gone[1:4] == ["reopened", "2024", "R7, 2024-04-02"]
        assert ("It was the wrong road." in gone[-1]) is is_told
        assert (coordinator.person.name in gone[-1]) is is_told
        text = page(client, program, group="removed-1").content.decode()
        assert ("It was the wrong road." in text) is is_told
        assert "Chorus" not in text
        assert page(client, program, group="removed-2").status_code == 404


def test_numbers_of_a_species_listed_since_stand_apart(db):
    program = make_program()
    observer, coordinator = (make_member(program, role) for role in ("observer", "coordinator"))
    make_visits(program, observer)
    before = publish_now(coordinator, 2024)
    make_checklist(program, "Anaxyrus americanus")
    found = difference(before, publish_now(coordinator, 2024, "A species was forgotten."))
    visits = Visits(came=found.came, went=found.went, changed=found.changed)
    groups = grouped_numbers("yearly", found.numbers["yearly"], visits, found.relisted)
    (listed,) = [group for group in groups if "checklist for different nights" in group.cause]
    assert {number.key[0] for number in listed.numbers} == {"Anaxyrus americanus"}


@pytest.fixture(scope="module")
def large(module_rows):
    """Six seasons of 60 visits. Since the first version 100 were corrected, 80 set aside, 60
    reopened and corrected, and 40 came; three species were listed for all nights."""
    program = make_program()
    observer, coordinator = (make_member(program, role) for role in ("observer", "coordinator"))
    species = make_checklist(program, "Pseudacris crucifer", "Hyla versicolor", "Acris crepitans")
    routes = [make_route(program, code=f"R{number}", stops=3) for number in range(1, 11)]
    visits = [
        make_accepted_visit(
            route,
            observer.person,
            night=dt.date(year, 4, 1) + dt.timedelta(days=6 * number),
            heard={1: {species[(place + number) % 3]: 1}, 2: {species[place % 3]: 2}},
        )
        for year in range(2019, 2025)
        for place, route in enumerate(routes)
        for number in range(6)
    ]
    before = publish_now(coordinator, 2024)
    for visit in visits[:160]:
        step(visit, coordinator, Step.CORRECTED, "The sheet says so; read again at home. " * 4)
        CallIndex.objects.filter(period__visit=visit).update(index=3)
    for visit in visits[100:240]:
        step(visit, coordinator, Step.REOPENED if visit in visits[:160] else Step.SET_ASIDE)
    Visit.objects.filter(pk__in=[visit.pk for visit in visits[160:240]]).update(
        counts_in_trends=False
    )
    for route in routes[:4]:
        for number in range(10):
            night = dt.date(2023, 6, 10) + dt.timedelta(days=number)
            make_accepted_visit(route, observer.person, night=night, heard={1: {species[0]: 1}})
    make_checklist(program, "Anaxyrus americanus", "Lithobates pipiens", "Lithobates sylvaticus")
    return coordinator, before, publish_now(coordinator, 2024, "The sheets were read again.")


@pytest.mark.slow
def test_a_thousand_rows_are_a_small_page(large, client_for):
    coordinator, *versions = large
    found = difference(*versions)
    visits = (*found.came, *found.went, *found.changed)
    rows = len(visits) + sum(map(len, found.numbers.values()))
    assert rows >= 1_147
    client = client_for(coordinator)
    whole = page(client, coordinator.program).content
    assert len(whole) < MOST_BYTES
    text = whole.decode()
    for words in ("Removed visits: 80", "Changed visits: 160", "Added visits: 40"):
        assert words in text
    lines = page(client, coordinator.program, csv="1").content.decode().splitlines()
    assert len(lines) == 1 + rows
    groups = set(re.findall(r"group=([a-z]+-\d+)", text))
    assert len(groups) > 10
    for group in groups:
        for at in (1, 2):
            assert len(page(client, coordinator.program, group=group, page=at).content) < MOST_BYTES


@pytest.mark.parametrize("against", ["0", "2", "9", "99999"])
def test_no_such_pair_of_versions(program, versions, partner, client_for, against):
    client = client_for(partner)
    assert page(client, program, against=against).status_code == 404
    assert page(client, program, version=1).status_code == 404


def test_the_publication_leads_to_it(program, versions, partner, client_for):
    kwargs = {"program": program.slug, "season_year": 2024}
    client = client_for(partner)
    second = client.get(reverse("web:publication", kwargs={**kwargs, "version": 2}))
    link = reverse("web:publication_changes", kwargs={**kwargs, "version": 2})
    assert link in second.content.decode()
    first = client.get(reverse("web:publication", kwargs={**kwargs, "version": 1}))
    assert "changes/" not in first.content.decode()


def test_a_visit_without_stops_is_compared_too(db):
    program = make_program()
    visits = make_visits(program, make_member(program))
    Visit.objects.create(
        id=uuid.uuid4(),
        route=visits[0].route,
        protocol_version=visits[0].protocol_version,
        observer=visits[0].observer,
        night=dt.date(2024, 6, 9),
        season_year=2024,
        state="accepted",
        submitted_at=timezone.now(),
        counts_in_trends=True,
    )
    publication = publish_now(make_member(program, "coordinator"), 2024)
    assert difference(publication, publication).nothing


def test_the_tables_are_read_once(versions, django_assert_num_queries):
    """Whoever asks again gets the same, at the price of asking what was done in review."""
    first = difference(*versions)
    with django_assert_num_queries(3):  # The cache is a table; review; confirmations.
        assert difference(*versions) == first


def test_a_column_that_came_with_the_software_is_no_change_of_a_visit(db):
    """Publications are frozen: those from before a column are compared without it."""
    coordinator = make_member(make_program(), Role.COORDINATOR)
    (toad,) = make_checklist(coordinator.program, "Anaxyrus americanus")
    route = make_route(coordinator.program)
    visits = [
        make_accepted_visit(route, coordinator.person, night=night, heard={1: {toad: 1}})
        for night in (dt.date(2024, 4, 2), dt.date(2024, 4, 20))
    ]
    first = publish_now(coordinator, 2024)
    _drop_last_column(first, "data/calls.csv")
    CallIndex.objects.filter(period__visit=visits[1]).update(index=3)
    second = publish_now(coordinator, 2024, "It was a chorus.")
    changed = difference(first, second).changed
    assert [(change.visit, change.what) for change in changed] == [
        (str(visits[1].pk), ("what was heard",))
    ]
    header, rows = rows_of(first, "calls")
    assert header[-1] == "far_index"
    assert {row[-1] for row in rows} == {None}


def test_a_longer_checklist_and_another_name_do_not_change_what_was_heard(db):
    program = make_program()
    coordinator, first_one, second_one = (make_member(program, role) for role in ROLES)
    *_, last = make_visits(program, first_one)
    Visit.objects.filter(pk=last.pk).update(observer=second_one.person)
    before = publish_now(coordinator, 2024)
    make_checklist(program, "Anaxyrus americanus")
    second_one.person.named_in_reports = True
    second_one.person.save()
    told = upcoming(program, preview(program, 2024)).visits.changed
    after = publish_now(coordinator, 2024, "A species was forgotten.")
    found = difference(before, after)
    assert "Anaxyrus americanus" in {row[1] for row in rows_of(after, "calls")[1]}
    assert "Checklist" in found.other_tables
    for changed in (told, found.changed):
        assert [(one.visit, one.what) for one in changed] == [(str(last.pk), (OBSERVER,))]
        (group,) = grouped_visits(changed)
        assert group.cause == "the observer is published under another name"


def test_a_call_confirmed_by_ear_is_a_cause(db):
    coordinator = make_member(make_program(), Role.COORDINATOR)
    observer = make_member(coordinator.program)
    *_, last = make_visits(coordinator.program, observer)
    before = publish_now(coordinator, 2024)
    call = CallIndex.objects.get(period__visit=last)
    recording = keep(observer, last, sound(), stop=1, species=call.species.code)
    Confirmation.objects.create(
        call=call, recording=recording, by=coordinator.person, at=timezone.now()
    )
    told = upcoming(coordinator.program, preview(coordinator.program, 2024)).visits.changed
    after = publish_now(coordinator, 2024, "Somebody listened again.")
    for changed in (told, difference(before, after).changed):
        assert [(one.visit, grouped_visits([one])[0].cause) for one in changed] == [
            (str(last.pk), "confirmed by ear")
        ]


def _drop_last_column(publication, kind):
    text = text_of(publication, kind)
    lines = [line.rpartition(",")[0] for line in text.splitlines()]
    with pgtrigger.ignore("surveys.PublicationPiece:frozen"):
        PublicationPiece.objects.filter(file__publication=publication, file__kind=kind).update(
            content="\r\n".join([*lines, ""]).encode()
        )
