"""The database views of what counts against a definition in plain Python, row by row.

Programs are drawn at random: visits in every state, questions left out on a visit, a stop or a
species, stops skipped or closed, species not sure of, on the checklist for some nights only or
never, joint entries and their members written down in any mixture. The definition below reads what
was drawn; the views read the rows that `count_in_trends` and the builders wrote.
"""

import datetime as dt
import re
import uuid
from dataclasses import dataclass
from pathlib import Path

import pytest
from django.db import connection, transaction
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from surveys import models
from surveys.fitting.histories import load_periods
from surveys.models import (
    CallIndex,
    ChecklistEntry,
    ListeningPeriod,
    Program,
    Route,
    Settlement,
    Species,
    Stop,
    StoredFinding,
    Visit,
    VisitState,
)
from surveys.programs.in_force import entries_listed
from surveys.seasons.listening import ONE_SPECIES
from surveys.seasons.query import fetch
from surveys.trends.periods import species_periods
from surveys.visits.counting import count_in_trends
from tests.support.builders import (
    make_joint_entry,
    make_person,
    make_program,
    make_route,
    make_species,
    make_version,
)

pytestmark = pytest.mark.django_db

NIGHTS = [dt.date(2023, 4, 1) + dt.timedelta(days=100 * number) for number in range(4)]
PEEPER, GRAY, COPE = "Pseudacris crucifer", "Hyla versicolor", "Hyla chrysoscelis"
BARKER, EITHER, ANY = "Hyla gratiosa", "Hyla versicolor / chrysoscelis", "Hyla of three kinds"
# Two joint entries share a member; one of the three may be on no checklist.
MEMBERS = {EITHER: (GRAY, COPE), ANY: (GRAY, BARKER)}
SPECIES = (PEEPER, GRAY, COPE, BARKER, EITHER, ANY)
STOPS = 2
NOT_SURE = "not sure"
# Heard only beyond the listening radius, with index 2 or without one.
FAR, FAR_NOT_SURE = "far", "far, not sure"


# --- What is drawn ------------------------------------------------------------


@dataclass(frozen=True)
class DrawnPeriod:
    """A stop that somebody came to; `calls` by species, an index or not sure."""

    listened: bool
    calls: dict[str, int | str]


@dataclass(frozen=True)
class DrawnVisit:
    """`periods` by stop number. `left_out`: the stop and the species that are excluded from trends;
    no stop: the whole visit."""

    night: dt.date
    state: VisitState
    periods: dict[int, DrawnPeriod]
    left_out: list[tuple[int | None, str | None]]


@dataclass(frozen=True)
class DrawnProgram:
    """`checklist`: first and last night on it, by species. `closed`: the last night of stop 2."""

    checklist: dict[str, tuple[dt.date | None, dt.date | None]]
    visits: list[DrawnVisit]
    closed: dt.date | None


def by_key(keys, values: st.SearchStrategy) -> st.SearchStrategy:
    """A dictionary of some of the keys: those for which something other than None is drawn."""
    return st.fixed_dictionaries(dict.fromkeys(keys, values)).map(
        lambda drawn: {key: value for key, value in drawn.items() if value is not None}
    )


# Each is drawn so that most things count: what does not is rare in every part, and common in all.
nights = st.sampled_from(NIGHTS)
periods = st.builds(
    DrawnPeriod,
    listened=st.sampled_from([True, True, True, False]),
    calls=by_key(
        SPECIES, st.sampled_from([None, None, None, 1, 2, 3, NOT_SURE, FAR, FAR_NOT_SURE])
    ),
)
left_out_parts = st.tuples(
    st.integers(1, STOPS), st.sampled_from([None, *SPECIES])
) | st.sampled_from([(None, None)])
visits = st.builds(
    DrawnVisit,
    night=nights,
    state=st.sampled_from([VisitState.ACCEPTED] * 8 + list(VisitState)),
    periods=by_key(range(1, STOPS + 1), periods | periods | st.none()),
    left_out=st.just([]) | st.lists(left_out_parts, min_size=1, max_size=2),
)
first_or_last = st.none() | nights
listings = st.tuples(first_or_last, first_or_last).map(
    lambda ends: ends if None in ends else tuple(sorted(ends))
)
programs = st.builds(
    DrawnProgram,
    checklist=by_key(SPECIES, st.none() | listings | listings | listings),
    visits=st.lists(visits, min_size=2, max_size=4),
    closed=st.none() | nights,
)


# Every kind of thing once, with the first and the last night on the checklist among the nights.
EVERY_KIND = DrawnProgram(
    checklist={PEEPER: (NIGHTS[1], NIGHTS[2]), GRAY: (None, None)},
    visits=[
        *(
            DrawnVisit(
                night=night,
                state=VisitState.ACCEPTED,
                periods={
                    1: DrawnPeriod(listened=True, calls={GRAY: NOT_SURE, COPE: 3}),
                    2: DrawnPeriod(
                        listened=night != NIGHTS[0],
                        calls={GRAY: 2, PEEPER: FAR, ANY: FAR, BARKER: FAR_NOT_SURE},
                    ),
                },
                left_out=[(1, COPE), (2, PEEPER)] if night == NIGHTS[1] else [],
            )
            for night in NIGHTS
        ),
        *(
            DrawnVisit(
                night=NIGHTS[1],
                state=state,
                periods={1: DrawnPeriod(listened=True, calls={PEEPER: 1})},
                left_out=left_out,
            )
            for state, left_out in (
                (VisitState.ACCEPTED, [(None, None)]),
                (VisitState.ACCEPTED, [(1, None)]),
                (VisitState.ACCEPTED, [(1, PEEPER)]),
                (VisitState.SUBMITTED, []),
                (VisitState.SET_ASIDE, []),
            )
        ),
    ],
    closed=NIGHTS[0],
)


# --- The definition -----------------------------------------------------------

MISSING = "missing"
PeriodKey = tuple[int, int]


def counts(visit: DrawnVisit) -> bool:
    return visit.state == VisitState.ACCEPTED and (None, None) not in visit.left_out


def stop_counts(visit: DrawnVisit, stop: int) -> bool:
    return counts(visit) and visit.periods[stop].listened and (stop, None) not in visit.left_out


def on_checklist(program: DrawnProgram, species: str, night: dt.date) -> bool:
    if species not in program.checklist:
        return False
    first, last = program.checklist[species]
    return (first or dt.date.min) <= night <= (last or dt.date.max)


def counted_periods(program: DrawnProgram) -> set[PeriodKey]:
    """By the number of the visit and of the stop."""
    return {
        (number, stop)
        for number, visit in enumerate(program.visits)
        for stop in visit.periods
        if stop_counts(visit, stop)
    }


def index_at(program: DrawnProgram, period: PeriodKey, species: str) -> int | str | None:
    """0 to 3, missing, or None where nobody listened for the species."""
    number, stop = period
    visit = program.visits[number]
    calls = calls_within(visit, stop)
    own = recorded_at(program, period, species)
    if species in MEMBERS:
        records = [own, *(recorded_at(program, period, member) for member in MEMBERS[species])]
        spoken = [record for record in records if record is not None]
        if spoken:
            return max((r for r in spoken if r != MISSING), default=MISSING)
    elif own is not None:
        return own
    elif any(joint in calls for joint, members in MEMBERS.items() if species in members):
        return MISSING
    return 0 if on_checklist(program, species, visit.night) else None


def calls_within(visit: DrawnVisit, stop: int) -> dict[str, int | str]:
    """What says something of the place within the listening radius: all calls but those beyond it.
    One that a coordinator left out says that nothing is known."""
    return {
        species: written
        for species, written in visit.periods[stop].calls.items()
        if written != FAR_NOT_SURE and (written != FAR or (stop, species) in visit.left_out)
    }


def far_index_at(program: DrawnProgram, period: PeriodKey, species: str) -> int | None:
    number, stop = period
    visit = program.visits[number]
    written = visit.periods[stop].calls.get(species)
    return 2 if written == FAR and species not in calls_within(visit, stop) else None


def recorded_at(program: DrawnProgram, period: PeriodKey, species: str) -> int | str | None:
    """What the call that was written down for the very species says; None where none was."""
    number, stop = period
    visit = program.visits[number]
    written = calls_within(visit, stop).get(species)
    if written in (NOT_SURE, FAR) or (written is not None and (stop, species) in visit.left_out):
        return MISSING
    return written


def speaks(program: DrawnProgram, period: PeriodKey, species: str) -> bool:
    """Whether a call says something of the species: its own, its joint entry's, its members'."""
    number, stop = period
    calls = calls_within(program.visits[number], stop)
    joints = [joint for joint, members in MEMBERS.items() if species in members]
    return any(name in calls for name in (species, *joints, *MEMBERS.get(species, ())))


# --- The same as rows ---------------------------------------------------------


class Written:
    """A drawn program as rows, with what leads from rows back to what was drawn."""

    def __init__(self, drawn: DrawnProgram) -> None:
        self.program: Program = make_program()
        self.route: Route = make_route(
            self.program, version=make_version(self.program), stops=STOPS, region="North"
        )
        Stop.objects.filter(route=self.route, number=STOPS).update(active_until=drawn.closed)
        self.stops = {stop.number: stop for stop in self.route.stops.all()}
        self.species: dict[str, Species] = {name: make_species(name) for name in SPECIES}
        for joint, members in MEMBERS.items():
            make_joint_entry(joint, *(self.species[member] for member in members))
            self.species[joint].refresh_from_db()
        for name, (first, last) in drawn.checklist.items():
            ChecklistEntry.objects.create(
                program=self.program,
                species=self.species[name],
                listed_from=first,
                listed_until=last,
            )
        self.observer = make_person()
        self.period_of: dict[uuid.UUID, PeriodKey] = {}
        self.visit_of: dict[uuid.UUID, int] = {}
        for number, visit in enumerate(drawn.visits):
            self._write(number, visit)

    def _write(self, number: int, drawn: DrawnVisit) -> None:
        visit = Visit.objects.create(
            route=self.route,
            protocol_version=self.route.protocol.versions.get(),
            observer=self.observer,
            night=drawn.night,
            season_year=drawn.night.year,
            state=drawn.state,
            submitted_at=dt.datetime(2025, 1, 1, tzinfo=dt.UTC),
        )
        self.visit_of[visit.pk] = number
        for stop, period in drawn.periods.items():
            row = ListeningPeriod.objects.create(
                visit=visit,
                stop=self.stops[stop],
                status="listened" if period.listened else "skipped",
            )
            self.period_of[row.pk] = (number, stop)
            CallIndex.objects.bulk_create(
                CallIndex(
                    period=row,
                    species=self.species[name],
                    index={NOT_SURE: None, FAR_NOT_SURE: None, FAR: 2}.get(index, index),
                    not_sure=index in (NOT_SURE, FAR_NOT_SURE),
                    distance="far" if index in (FAR, FAR_NOT_SURE) else "",
                )
                for name, index in period.calls.items()
            )
        if drawn.state == VisitState.ACCEPTED:
            count_in_trends(visit, [self._left_out(*place) for place in drawn.left_out])
            visit.save()

    def _left_out(self, stop: int | None, species: str | None) -> StoredFinding:
        return StoredFinding(
            settlement=Settlement.LEFT_OUT,
            stop=self.stops[stop] if stop else None,
            species=self.species[species] if species else None,
        )

    def rows(self, view: str, where: str = "TRUE", **parameters: object) -> list:
        sql = f"SELECT * FROM {view} WHERE program_id = %(program)s AND {where}"
        return fetch(sql, {"program": self.program.pk, **parameters})

    def name_of(self, species_id: int) -> str:
        return next(name for name, row in self.species.items() if row.pk == species_id)


@pytest.fixture
def neighbor(db) -> None:
    """Another program beside it that listens for the same species."""
    Written(
        DrawnProgram(
            checklist=dict.fromkeys(SPECIES, (None, None)),
            visits=[
                DrawnVisit(
                    night=NIGHTS[1],
                    state=VisitState.ACCEPTED,
                    periods={1: DrawnPeriod(listened=True, calls={PEEPER: 2})},
                    left_out=[],
                )
            ],
            closed=None,
        )
    )


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(drawn=programs)
@example(drawn=EVERY_KIND)
def test_views_and_fits_agree_with_the_definition(neighbor, drawn):
    with transaction.atomic():
        written = Written(drawn)
        check_visits_and_periods(drawn, written)
        check_calls(drawn, written)
        check_one_species(drawn, written)
        check_fits(drawn, written)
        transaction.set_rollback(True)


def check_visits_and_periods(drawn: DrawnProgram, written: Written) -> None:
    visits = written.rows("counted_visit")
    assert sorted(written.visit_of[row.id] for row in visits) == [
        number for number, visit in enumerate(drawn.visits) if counts(visit)
    ]
    rows = {written.period_of[row.id]: row for row in written.rows("counted_period")}
    assert rows.keys() == counted_periods(drawn)
    for (number, stop), row in rows.items():
        night = drawn.visits[number].night
        assert written.visit_of[row.visit_id] == number
        assert (row.stop_id, row.route_id) == (written.stops[stop].pk, written.route.pk)
        assert (row.route_code, row.region) == (written.route.code, "North")
        assert (row.night, row.season_year) == (night, night.year)


def check_calls(drawn: DrawnProgram, written: Written) -> None:
    expected = {
        (period, name): index_at(drawn, period, name)
        for period in counted_periods(drawn)
        for name in SPECIES
    }

    def indices(rows: list) -> dict[tuple[PeriodKey, str], int | str]:
        by_period = {
            (written.period_of[row.period_id], written.name_of(row.species_id)): (
                MISSING if row.call_index is None else row.call_index
            )
            for row in rows
        }
        assert len(by_period) == len(rows)
        return by_period

    assert indices(written.rows("counted_call")) == {
        (period, name): index
        for (period, name), index in expected.items()
        if on_checklist(drawn, name, drawn.visits[period[0]].night)
    }
    assert indices(written.rows("counted_record")) == {
        (period, name): index
        for (period, name), index in expected.items()
        if speaks(drawn, period, name)
    }
    assert indices(written.rows("counted_written")) == {
        (period, name): record
        for period in counted_periods(drawn)
        for name in SPECIES
        if (record := recorded_at(drawn, period, name)) is not None
    }
    recorded = {
        (written.period_of[row.period_id], written.name_of(row.species_id)): row.recorded_index
        for row in written.rows("counted_call")
    }
    assert recorded == {
        (period, name): None if record == MISSING else record
        for period, name in recorded
        for record in (recorded_at(drawn, period, name),)
    }
    assert {
        (written.period_of[row.period_id], written.name_of(row.species_id)): row.far_index
        for row in written.rows("counted_call")
    } == {(period, name): far_index_at(drawn, period, name) for period, name in recorded}
    assert {
        (written.period_of[row.period_id], written.name_of(row.species_id))
        for row in written.rows("counted_written", "listed")
    } == {
        (period, name)
        for period in counted_periods(drawn)
        for name in calls_within(drawn.visits[period[0]], period[1])
        if on_checklist(drawn, name, drawn.visits[period[0]].night)
    }


def check_one_species(drawn: DrawnProgram, written: Written) -> None:
    """Seasons: where somebody listened for a species, on the checklist or heard off it."""
    for name, species in written.species.items():
        rows = fetch(
            f"{ONE_SPECIES} SELECT visit_id, stop_id, call_index FROM listened",
            {
                "program": written.program.pk,
                "species": species.pk,
                "routes": [written.route.pk],
                "first_year": NIGHTS[0].year,
                "last_year": NIGHTS[-1].year,
            },
        )
        numbers = {stop.pk: number for number, stop in written.stops.items()}
        assert sorted(
            (written.visit_of[row.visit_id], numbers[row.stop_id], row.call_index) for row in rows
        ) == sorted(
            (*period, index)
            for period in counted_periods(drawn)
            if (index := index_at(drawn, period, name)) not in (None, MISSING)
        )


def check_fits(drawn: DrawnProgram, written: Written) -> None:
    """The fits derive their zeros in memory; they are those of the view. So does the checklist
    of a night that screens show."""
    loaded = load_periods(written.program)
    entries = list(written.program.checklist.all())
    for name in drawn.checklist:
        species = written.species[name]
        columns = species_periods(loaded, species.pk).columns
        fitted = zip(
            columns.stop.tolist(),
            columns.night.tolist(),
            columns.call_index.tolist(),
            strict=True,
        )
        assert sorted(fitted) == sorted(
            (row.stop_id, row.night.toordinal(), row.call_index)
            for row in written.rows(
                "counted_call",
                "species_id = %(species)s AND call_index IS NOT NULL",
                species=species.pk,
            )
        )
    for night in NIGHTS:
        assert {entry.species.scientific_name for entry in entries_listed(entries, night)} == {
            name for name in drawn.checklist if on_checklist(drawn, name, night)
        }


def test_the_migration_made_the_views_as_the_file_says():
    """The migration holds a copy of `surveys/models/counted.sql`. Who changes the file writes a
    migration that drops the views and makes them again."""
    text = (Path(models.__file__).parent / "counted.sql").read_text()
    names = re.findall(r"^CREATE VIEW (\w+)", text, re.MULTILINE)
    assert len(names) == 9

    def definitions() -> dict[str, str]:
        with connection.cursor() as cursor:
            cursor.execute(
                "SELECT viewname, definition FROM pg_views"
                " WHERE schemaname = current_schema() AND viewname = ANY(%s)",
                [names],
            )
            return dict(cursor.fetchall())

    migrated = definitions()
    with connection.cursor() as cursor:
        cursor.execute(f"DROP VIEW {', '.join(names)}")
        cursor.execute(text)
    assert definitions() == migrated
    assert migrated.keys() == set(names)
