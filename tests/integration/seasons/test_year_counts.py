"""The stored counts of route years: whatever changes, the yearly table is that of the calls."""

import datetime as dt
import random
from collections.abc import Callable, Iterator

import pytest
from django.db import connection, transaction

from surveys.models import (
    CallIndex,
    ChecklistEntry,
    JointMember,
    ListeningPeriod,
    Program,
    RouteYearCount,
    Species,
    StaleYearCount,
    Visit,
    VisitState,
)
from surveys.seasons.tasks import check_counts, count_what_changed
from surveys.seasons.year_counts import (
    COUNTING,
    PAIRS_AT_ONCE,
    count_again,
    mark_program,
    stale_counts,
)
from surveys.seasons.yearly import yearly_table
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_joint_entry,
    make_program,
    make_route,
    make_species,
)

PEEPER, TOAD, GRAY = "Pseudacris crucifer", "Anaxyrus americanus", "Dryophytes versicolor"
FIRST_YEAR, YEARS = 2022, 2


@pytest.fixture
def listened(program, observer) -> Program:
    """Two routes of two stops in two years, three visits to each; one entry is a joint one."""
    species = make_checklist(program, PEEPER, TOAD, GRAY)
    joint = make_joint_entry("Either treefrog", species[2], make_species("Dryophytes avivoca"))
    ChecklistEntry.objects.create(program=program, species=joint)
    draw = random.Random(8)
    for _ in range(2):
        route = make_route(program, stops=2)
        for year in range(FIRST_YEAR, FIRST_YEAR + YEARS):
            for month in (3, 4, 5):
                make_accepted_visit(
                    route,
                    observer.person,
                    night=dt.date(year, month, 10),
                    heard={
                        stop: {
                            one: draw.randint(1, 3)
                            for one in (*species, joint)
                            if draw.random() < 0.5
                        }
                        for stop in (1, 2)
                    },
                )
    return program


def table_of_calls(program: Program) -> list:
    """The yearly table as if nothing had ever been counted."""
    with transaction.atomic():
        StaleYearCount.objects.create(program=program)
        rows = yearly_table(program)
        transaction.set_rollback(True)
    return rows


def some(draw: random.Random, rows):
    return draw.choice(list(rows.order_by("pk")))


def change_call(draw, program):
    call = some(draw, CallIndex.objects.exclude(index=None))
    call.index = 1 + call.index % 3
    call.save()


def leave_call_out(draw, program):
    call = some(draw, CallIndex.objects.filter(not_sure=False))
    call.counts_in_trends = not call.counts_in_trends
    call.save()


def hear_far(draw, program):
    CallIndex.objects.filter(pk=some(draw, CallIndex.objects.all()).pk).update(distance="far")


def forget_call(draw, program):
    some(draw, CallIndex.objects.all()).delete()


def hear_another(draw, program):
    silent = ListeningPeriod.objects.exclude(calls__species__scientific_name=PEEPER)
    peeper = program.checklist.get(species__scientific_name=PEEPER).species
    CallIndex.objects.create(
        period=some(draw, silent), species=peeper, index=2, counts_in_trends=True
    )


def leave_period_out(draw, program):
    period = some(draw, ListeningPeriod.objects.all())
    period.counts_in_trends = not period.counts_in_trends
    period.save()


def forget_period(draw, program):
    some(draw, ListeningPeriod.objects.all()).delete()


def forget_silent_period(draw, program):
    """Nothing was heard there, so no call says that it is gone."""
    period = some(draw, ListeningPeriod.objects.all())
    CallIndex.objects.filter(period=period).delete()
    count_again(program.pk)
    period.delete()


def listen_elsewhere(draw, program):
    visit = some(draw, Visit.objects.all())
    stop = visit.route.stops.last()
    stop.pk, stop.number = None, stop.number + 1
    stop.save()
    ListeningPeriod.objects.create(
        visit=visit, stop=stop, status="listened", counts_in_trends=visit.counts_in_trends
    )


def leave_visit_out(draw, program):
    visit = some(draw, Visit.objects.all())
    visit.counts_in_trends = not visit.counts_in_trends
    visit.save()


def move_visit(draw, program):
    """To the other year, on a night of its own."""
    visit = some(draw, Visit.objects.all())
    visit.season_year = FIRST_YEAR + (visit.season_year + 1 - FIRST_YEAR) % YEARS
    visit.night += dt.timedelta(days=draw.randrange(20))
    visit.save()


def forget_visit(draw, program):
    some(draw, Visit.objects.all()).delete()


def forget_visit_before_its_periods(draw, program):
    """As nobody does but by hand: foreign keys are looked at in the end."""
    visit = some(draw, Visit.objects.all())
    periods = list(visit.periods.values_list("pk", flat=True))
    Visit.objects.filter(pk=visit.pk)._raw_delete("default")
    CallIndex.objects.filter(period__in=periods)._raw_delete("default")
    ListeningPeriod.objects.filter(pk__in=periods)._raw_delete("default")


def another_visit(draw, program):
    visit = some(draw, Visit.objects.all())
    make_accepted_visit(
        visit.route,
        visit.observer,
        night=visit.night + dt.timedelta(days=30),
        season_year=visit.season_year,
        heard={1: {some(draw, program.checklist.all()).species: 2}},
    )


def list_later(draw, program):
    entry = some(draw, program.checklist.all())
    entry.listed_from = dt.date(FIRST_YEAR, 1 + draw.randrange(12), 15)
    entry.save()


def list_another(draw, program):
    species = make_species(f"Invented species {draw.random()}")
    ChecklistEntry.objects.create(program=program, species=species)


def unlist(draw, program):
    some(draw, program.checklist.exclude(species__scientific_name=PEEPER)).delete()


def join_another(draw, program):
    JointMember.objects.get_or_create(
        joint=Species.objects.get(is_complex=True), member=make_species(TOAD)
    )


def join_a_listed_one_instead(draw, program):
    peeper = make_species(PEEPER)
    if not JointMember.objects.filter(member=peeper).exists():
        JointMember.objects.filter(pk=JointMember.objects.last().pk).update(member=peeper)


def part(draw, program):
    JointMember.objects.filter(pk=JointMember.objects.first().pk).delete()


CHANGES: list[Callable[[random.Random, Program], None]] = [
    change_call,
    leave_call_out,
    hear_far,
    forget_call,
    hear_another,
    leave_period_out,
    forget_period,
    forget_silent_period,
    listen_elsewhere,
    leave_visit_out,
    move_visit,
    forget_visit,
    forget_visit_before_its_periods,
    another_visit,
    list_later,
    list_another,
    unlist,
    join_another,
    join_a_listed_one_instead,
    part,
]


@pytest.mark.django_db
@pytest.mark.parametrize("change", CHANGES, ids=lambda change: change.__name__)
def test_a_change_is_in_the_table_before_and_after_it_is_counted(listened, change):
    count_again(listened.pk)
    before = yearly_table(listened)
    draw = random.Random(3)
    # Not each call is the highest of its stop and year.
    while (expected := table_of_calls(listened)) == before:
        change(draw, listened)
    assert yearly_table(listened) == expected
    count_again(listened.pk)
    assert not StaleYearCount.objects.exists()
    assert yearly_table(listened) == expected


@pytest.mark.django_db
@pytest.mark.parametrize("seed", range(2))
def test_whatever_is_changed_and_counted_in_whatever_order(listened, seed):
    draw = random.Random(seed)
    for _ in range(25):
        draw.choice(CHANGES)(draw, listened)
        if draw.random() < 0.3:
            count_again(listened.pk)
        assert yearly_table(listened) == table_of_calls(listened)


@pytest.mark.django_db
def test_only_what_changed_is_counted_again(listened):
    assert count_again(listened.pk) == 4
    change_call(random.Random(1), listened)
    stale = stale_counts(listened.pk)
    assert (stale.everything, len(stale.routes)) == (False, 1)
    assert count_again(listened.pk) == 1
    assert count_again(listened.pk) == 0


@pytest.mark.django_db
def test_what_no_count_depends_on_marks_nothing(listened, observer):
    """A draft, a note in review, another order of the checklist."""
    count_again(listened.pk)
    visit = Visit.objects.first()
    visit.revision += 1
    visit.save()
    listened.checklist.update(order=7)
    make_accepted_visit(
        visit.route,
        observer.person,
        state=VisitState.SUBMITTED,
        counts_in_trends=False,
        heard={1: {listened.checklist.first().species: 1}},
    )
    assert not StaleYearCount.objects.exists()


@pytest.mark.django_db
def test_counted_piece_by_piece(listened, monkeypatch):
    monkeypatch.setattr("surveys.seasons.year_counts.PAIRS_AT_ONCE", 3)
    assert PAIRS_AT_ONCE > 3
    expected = yearly_table(listened)
    count_again(listened.pk)
    assert yearly_table(listened) == expected


@pytest.mark.django_db
def test_filters_are_those_of_the_calls(listened, observer):
    """Beside the counts of a neighbor."""
    route = listened.routes.first()
    route.region = "North"
    route.save()
    neighbor = make_program()
    (peeper,) = make_checklist(neighbor, PEEPER)
    north = make_route(neighbor, region="North")
    night = dt.date(FIRST_YEAR, 4, 10)
    make_accepted_visit(north, observer.person, night=night, heard={1: {peeper: 3}})
    count_again(neighbor.pk)
    narrowings = (
        {"region": "North"},
        {"first_year": FIRST_YEAR + 1},
        {"last_year": FIRST_YEAR},
        {"species": listened.checklist.first().species},
    )
    from_calls = [yearly_table(listened, **narrowing) for narrowing in narrowings]
    count_again(listened.pk)
    assert [yearly_table(listened, **narrowing) for narrowing in narrowings] == from_calls
    # One route is stale: both sources in one table.
    change_call(random.Random(2), listened)
    both = [yearly_table(listened, **narrowing) for narrowing in narrowings]
    count_again(listened.pk)
    assert [yearly_table(listened, **narrowing) for narrowing in narrowings] == both


@pytest.mark.django_db
def test_the_worker_counts_every_minute_and_checks_every_night(listened, caplog):
    count_what_changed(timestamp=0)
    assert not StaleYearCount.objects.exists()
    check_counts(timestamp=0)
    assert caplog.messages == []
    RouteYearCount.objects.filter(season_year=FIRST_YEAR).update(visits=99)
    wrong = yearly_table(listened)
    check_counts(timestamp=0)
    assert "counts of 2 route years were wrong" in caplog.text
    assert yearly_table(listened) == table_of_calls(listened) != wrong
    # What is marked already may differ.
    caplog.clear()
    check_counts(timestamp=0)
    assert caplog.messages == []


@pytest.fixture
def other_connection() -> Iterator:
    other = connection.copy()
    yield other
    other.close()


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("statement", [1, 2, 3, 4, 5])
def test_a_change_committed_while_it_is_counted_is_not_lost(listened, other_connection, statement):
    """Before one of the four statements of the counting, or after the last."""
    mark_program(listened.pk)
    there = other_connection.cursor()
    there.execute("BEGIN")
    there.execute("UPDATE surveys_callindex SET index = 4 - index")
    ran = 0

    def commit_meanwhile(execute, sql, params, many, context):
        nonlocal ran
        counting = sql in COUNTING
        if counting and ran + 1 == statement:
            there.execute("COMMIT")
        result = execute(sql, params, many, context)
        ran += counting
        if counting and ran + 1 == statement == 5:
            there.execute("COMMIT")
        return result

    with connection.execute_wrapper(commit_meanwhile):
        count_again(listened.pk)
    assert ran == 4
    assert yearly_table(listened) == table_of_calls(listened)
    count_again(listened.pk)
    assert yearly_table(listened) == table_of_calls(listened)
