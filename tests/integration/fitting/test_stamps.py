"""The checksum of all data that the fits of a program depend on."""

import datetime as dt

import pytest
from django.db import transaction

from surveys.fitting.stamps import data_stamp
from surveys.models import ChecklistEntry, JointMember, Program, Route, Stop, Visit, WetlandChange
from tests.support.builders import (
    make_accepted_visit,
    make_change,
    make_checklist,
    make_joint_entry,
    make_program,
    make_route,
    make_species,
)
from tests.support.for_each import for_each

pytestmark = pytest.mark.django_db


@pytest.fixture
def surveyed(program, observer):
    make_checklist(program, "Pseudacris crucifer")
    make_joint_entry("Either treefrog", make_species("Dryophytes versicolor"))
    visit = make_accepted_visit(make_route(program, stops=2, region="North"), observer.person)
    make_change(visit.route.stops.last(), observer.person)
    return program


def note_a_fire():
    visit = Visit.objects.get()
    make_change(visit.route.stops.first(), visit.observer)


CHANGES = {
    "a revised visit": lambda: Visit.objects.update(revision=9),
    "a visit that counts no longer": lambda: Visit.objects.update(counts_in_trends=False),
    "a region": lambda: Route.objects.update(region="South"),
    "how a route was chosen": lambda: Route.objects.update(chosen="random"),
    "weights of regions": lambda: Program.objects.update(region_weights={"North": 2}),
    "a habitat": lambda: Stop.objects.filter(number=1).update(habitat="marsh"),
    "how long water is held": lambda: Stop.objects.filter(number=1).update(hydroperiod="always"),
    "fish": lambda: Stop.objects.filter(number=1).update(fish="yes"),
    "a stop in use earlier": lambda: Stop.objects.update(active_from=dt.date(2001, 1, 1)),
    "a stop that is closed": lambda: Stop.objects.update(active_until=dt.date(2030, 1, 1)),
    "a fire": note_a_fire,
    "the last day of a fire": lambda: WetlandChange.objects.update(ended=dt.date(2023, 3, 4)),
    "listed later": lambda: ChecklistEntry.objects.update(listed_from=dt.date(2024, 1, 1)),
    "listed no longer": lambda: ChecklistEntry.objects.update(listed_until=dt.date(2030, 1, 1)),
    "a calling season": lambda: ChecklistEntry.objects.update(
        calls_from_month=3, calls_from_day=1, calls_to_month=5, calls_to_day=31
    ),
    "another member of a joint entry": lambda: JointMember.objects.update(
        member=make_species("Dryophytes avivoca")
    ),
}


@for_each("change", CHANGES)
def test_what_a_fit_depends_on_changes_the_stamp(surveyed, change):
    before = data_stamp(surveyed)
    with transaction.atomic():
        CHANGES[change]()
        changed = data_stamp(surveyed)
        transaction.set_rollback(True)
    assert changed != before
    assert data_stamp(surveyed) == before


def test_another_program_changes_nothing(surveyed, observer):
    before = data_stamp(surveyed)
    other = make_program()
    make_checklist(other, "Hyla versicolor")
    make_accepted_visit(make_route(other, stops=2, region="South"), observer.person)
    make_change(Stop.objects.filter(route__program=other).first(), observer.person)
    assert data_stamp(surveyed) == before
    assert data_stamp(other) not in (before, data_stamp(make_program()))


def test_what_no_fit_depends_on_keeps_the_stamp(surveyed):
    before = data_stamp(surveyed)
    Route.objects.update(name="Another name")
    Stop.objects.update(name="Another name")
    assert data_stamp(surveyed) == before
