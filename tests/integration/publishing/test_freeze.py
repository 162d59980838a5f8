"""Rows are frozen into tables that say the same as the database, and no more than they may."""

import csv
import datetime as dt
from copy import deepcopy
from dataclasses import fields
from decimal import Decimal

import numpy as np
import pgtrigger
import pytest
from django.contrib.gis.geos import Point

from accounts.models import Role
from surveys.fitting.histories import load_periods
from surveys.models import (
    CallIndex,
    ChecklistEntry,
    SeasonWindow,
    Sensitivity,
    Sighting,
    Species,
    Stop,
    Visit,
    VisitState,
)
from surveys.publishing.exceptions import NamesCollide
from surveys.publishing.frozen import Frozen
from surveys.publishing.results import periods_of
from surveys.publishing.tables import TABLE, TABLES
from surveys.seasons.yearly import yearly_table
from surveys.trends.analysis import Parts, analyze
from surveys.trends.from_tables import read_periods
from surveys.trends.periods import TRACE_OF_RAIN_MM, species_periods
from surveys.trends.result_tables import yearly_rows
from surveys.trends.table import YearRow, row_values
from surveys.visits.blind.answering import answer_blindly
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_member,
    make_person,
    make_program,
    make_route,
    make_species,
)
from tests.support.frozen import HOSTILE, small_frozen, small_program
from tests.support.sounds import keep, make_stored_picture, sound

pytestmark = pytest.mark.django_db


def rows(frozen: Frozen, table: str) -> list[dict[str, object]]:
    return [dict(zip(TABLE[table].header, row, strict=True)) for row in frozen.rows(table)]


@pytest.fixture(scope="module")
def small_once(module_rows):
    return small_program()


@pytest.fixture
def small(small_once, db):
    return deepcopy(small_once)


def test_the_yearly_table_follows_from_the_frozen_rows(tmp_path, small):
    """Outside check of the one definition, which is SQL: the same table worked out in Python,
    from nothing but the frozen rows, as `reproduce.py` does it."""
    frozen = small_frozen(tmp_path, program=small, results=False)
    published = [{**row, "flags": row["flags"] or ""} for row in rows(frozen, "yearly")]
    header = [field.name for field in fields(YearRow)]
    assert [list(row) for row in published] == [header] * len(published)
    assert published == list(yearly_rows(periods_of(frozen)))
    assert published == [row_values(row) for row in yearly_table(small, last_year=2024)]
    assert len(published) == 12


def test_rows_of_another_program_are_not_published(tmp_path, small):
    """It has the same codes, and an observer in common."""
    tables = ("routes", "stops", "visits", "periods", "calls", "sightings", "yearly")

    def published(folder: str) -> dict[str, list]:
        frozen = small_frozen(tmp_path / folder, program=small, results=False)
        return {table: rows(frozen, table) for table in tables}

    before = published("alone")
    neighbor = make_program()
    (gopher,) = make_checklist(neighbor, "Lithobates capito")
    observer = Visit.objects.first().observer
    for row in before["routes"]:
        route = make_route(neighbor, code=row["route"], name="Elsewhere")
        visit = make_accepted_visit(route, observer, heard={1: {gopher: 2}})
        Sighting.objects.create(visit=visit, row=1, species=gopher, life_stage="adult")
    assert published("beside") == before


def test_results_are_those_of_the_stored_fits(tmp_path, small):
    frozen = small_frozen(tmp_path, program=small)
    loaded = load_periods(small)
    species = Species.objects.get(scientific_name="Pseudacris crucifer")
    parts = Parts(turnover=False, index=False, phenology=False)
    result = analyze("x", species_periods(loaded, species.pk), site="stop", parts=parts)
    found = [
        row
        for row in rows(frozen, "occupancy")
        if (row["species"], row["site"]) == ("Pseudacris crucifer", "stop")
    ]
    assert [row["season_year"] for row in found] == [2021, 2022, 2023, 2024]
    for row, year in zip(found, result.years, strict=True):
        assert row["occupancy"] == pytest.approx(year.occupancy.value, rel=1e-6)
        assert row["occupancy_high"] == pytest.approx(year.occupancy.high, rel=1e-4)
        assert (row["sites"], row["sites_heard"]) == (year.sites, year.sites_heard)
    trend = rows(frozen, "trends")[0]
    # Heard on one route in four seasons: no trend, in the fit and in the table.
    assert (trend["change"], result.trend.occupancy.value) == (None, None)
    assert trend["flags"] == "; ".join(result.trend.occupancy.flags)
    # One stop of eight was moved in 2022: more than a tenth, and too few seasons on either side.
    assert (trend["first_year"], trend["last_year"], trend["breaks"]) == (2023, 2024, "2023")
    assert {"stops-changed", "years-left-out"} <= set(trend["flags"].split("; "))


def test_the_tables_hold_what_the_fits_load(tmp_path, small):
    small.checklist.filter(species__scientific_name="Lithobates capito").update(
        listed_from=dt.date(2023, 1, 1)
    )
    # An observer who surveyed for another program before is new in this one.
    elsewhere = make_route(make_program(), stops=1)
    make_accepted_visit(elsewhere, Visit.objects.first().observer, night=dt.date(2019, 4, 15))
    frozen = small_frozen(tmp_path, results=False, program=small)
    read, loaded = read_periods(frozen.folder / "data"), load_periods(small)
    assert set(read.periods.columns.first_season) == {False, True}
    for position, name in enumerate(read.species):
        pk = Species.objects.get(scientific_name=name).pk
        ours, theirs = species_periods(read.periods, position), species_periods(loaded, pk)
        for key in ("season_year", "night", "visit_number", "first_season"):
            assert sorted(getattr(ours.columns, key)) == sorted(getattr(theirs.columns, key))
        assert np.nansum(ours.columns.call_index) == np.nansum(theirs.columns.call_index)
        assert np.isnan(ours.columns.heard).sum() == np.isnan(theirs.columns.heard).sum()
        assert sorted(ours.day) == sorted(theirs.day)
        for covariate in ("temperature", "wind"):
            assert np.nansum(ours.columns.covariates[covariate]) == pytest.approx(
                np.nansum(theirs.columns.covariates[covariate])
            )


def test_a_trace_of_rain_is_published_as_one_and_fitted_alike(tmp_path, small):
    """A trace, a measured amount and rain that nobody wrote down are three things."""
    trace, amount, *_ = Visit.objects.order_by("night", "pk")
    Visit.objects.filter(pk=trace.pk).update(rain_48h_is_trace=True, rain_48h_unit="in")
    Visit.objects.filter(pk=amount.pk).update(rain_48h_mm=Decimal("12.7"), rain_48h_unit="in")
    frozen = small_frozen(tmp_path, program=small, results=False)
    published = {
        row["visit"]: (row["rain_48h"], row["rain_trace"]) for row in rows(frozen, "visits")
    }
    assert published.pop(str(trace.pk)) == (None, True)
    assert published.pop(str(amount.pk)) == (12.7, False)
    assert set(published.values()) == {(None, None)}
    read = read_periods(frozen.folder / "data").periods.columns.covariates["rain"]
    loaded = load_periods(small).columns.covariates["rain"]
    np.testing.assert_array_equal(np.sort(read), np.sort(loaded))
    assert {TRACE_OF_RAIN_MM, 12.7} == set(read[~np.isnan(read)])


def test_zeros_are_written_out_and_what_is_unsure_is_blank(tmp_path, small):
    frozen = small_frozen(tmp_path, results=False, program=small)
    periods = rows(frozen, "periods")
    calls = rows(frozen, "calls")
    assert len(calls) == 3 * len(periods)
    blank = [row for row in calls if row["call_index"] is None]
    assert [row["species"] for row in blank] == ["Pseudacris crucifer"]
    assert {row["confirmed_by_ear"] for row in calls if not row["call_index"]} == {None}
    heard = CallIndex.objects.filter(counts_in_trends=True).count()
    assert sum(1 for row in calls if row["call_index"]) == heard
    skipped = 2
    assert len(periods) == 16 * 4 - skipped


def test_only_nights_on_the_checklist_have_rows(tmp_path, small):
    small.checklist.filter(species__scientific_name="Lithobates capito").update(
        listed_from=dt.date(2024, 1, 1)
    )
    frozen = small_frozen(tmp_path, results=False, program=small)
    nights = {row["visit"]: row["night"] for row in rows(frozen, "visits")}
    visit = {row["period"]: row["visit"] for row in rows(frozen, "periods")}
    listed = {
        nights[visit[row["period"]]].year
        for row in rows(frozen, "calls")
        if row["species"] == "Lithobates capito"
    }
    assert listed == {2024}


def test_what_does_not_count_or_comes_later_is_left_out(tmp_path, small):
    route = small.routes.get(code="R1")
    person = Visit.objects.first().observer
    later = make_accepted_visit(route, person, night=dt.date(2025, 4, 2))
    gopher = Species.objects.get(scientific_name="Lithobates capito")
    Sighting.objects.create(visit=later, row=1, species=gopher, life_stage="adult")
    make_accepted_visit(
        route, person, night=dt.date(2024, 6, 2), state=VisitState.SUBMITTED, counts_in_trends=False
    )
    frozen = small_frozen(tmp_path, results=False, program=small)
    assert len(rows(frozen, "visits")) == 16
    assert {row["season_year"] for row in rows(frozen, "visits")} == {2021, 2022, 2023, 2024}
    periods = {row["period"] for row in rows(frozen, "periods")}
    assert {row["period"] for row in rows(frozen, "calls")} == periods
    assert str(later.pk) not in {row["visit"] for row in rows(frozen, "sightings")}


def test_names_only_with_consent(tmp_path, small):
    """Second observers are named in none."""
    mate = make_person(name="Wren Oakley")
    mate.named_in_reports = True
    mate.save()
    Visit.objects.filter(route__program=small).update(
        second_member=mate, second_observer="Linden Harrow"
    )
    frozen = small_frozen(tmp_path, results=False, program=small)
    assert {row["observer"][:9] for row in rows(frozen, "visits")} == {"Robin Fen", "Observer "}
    assert frozen.about.observers == ("Robin Fenwick",)
    assert frozen.about.observer_count == 2
    for path in (tmp_path / "frozen").rglob("*.csv"):
        text = path.read_text(encoding="utf-8")
        assert not [name for name in ("Alex Marsh", "Wren", "Linden") if name in text]


def test_a_pseudonym_stays_and_hangs_on_the_programs_key(tmp_path, small):
    def pseudonyms(folder):
        names = {
            row["observer"]
            for row in rows(small_frozen(folder, results=False, program=small), "visits")
        }
        return {name for name in names if name.startswith("Observer ")}

    first = pseudonyms(tmp_path / "1")
    assert pseudonyms(tmp_path / "2") == first
    small.pseudonym_key = "another"
    small.save()
    assert pseudonyms(tmp_path / "3").isdisjoint(first)


@pytest.mark.parametrize(
    ("shared", "species", "grid"),
    [
        (Sensitivity.OPEN, Sensitivity.OPEN, None),
        (Sensitivity.MEDIUM, Sensitivity.OPEN, 0.01),
        (Sensitivity.MEDIUM, Sensitivity.LOW, 0.01),
        (Sensitivity.OPEN, Sensitivity.HIGH, 0.1),
        (Sensitivity.EXTREME, Sensitivity.OPEN, "withheld"),
        (Sensitivity.LOW, Sensitivity.EXTREME, "withheld"),
    ],
)
def test_the_coarsest_level_holds_for_all_stops_of_a_route(tmp_path, small, shared, species, grid):
    small.place_sharing = shared
    small.save()
    entry = small.checklist.get(species__scientific_name="Lithobates capito")
    entry.sensitivity = species
    entry.save()
    # How sensitive it is elsewhere matters only there.
    ChecklistEntry.objects.create(
        program=make_program(), species=entry.species, sensitivity=Sensitivity.EXTREME
    )
    stops = [
        row
        for row in rows(small_frozen(tmp_path, results=False, program=small), "stops")
        if row["route"] == "R2"
    ]
    assert len(stops) == 4
    for stop in stops:
        assert (stop["latitude"] is None) == (grid == "withheld")
        assert stop["grid_degrees"] == (None if grid == "withheld" else grid)
        assert (stop["name"] is None) == (grid is not None)
        assert (stop["data_generalizations"] is None) == (grid is None)
        assert (stop["information_withheld"] is None) == (grid is None)


@pytest.mark.parametrize("how", ["excluded", "set aside", "seen"])
def test_a_sensitive_species_counts_however_it_was_recorded(tmp_path, small, how):
    """Also where it was on a visit that does not count, or was seen and not heard."""
    route = small.routes.get(code="R1")
    gopher = Species.objects.get(scientific_name="Lithobates capito")
    assert _level_of(route, small_frozen(tmp_path / "before", results=False, program=small)) is None
    state = VisitState.SET_ASIDE if how == "set aside" else VisitState.ACCEPTED
    visit = make_accepted_visit(
        route,
        Visit.objects.first().observer,
        night=dt.date(2026, 5, 20),
        state=state,
        counts_in_trends=False,
        heard={} if how == "seen" else {1: {gopher: 1}},
    )
    if how == "seen":
        Sighting.objects.create(visit=visit, row=1, species=gopher, life_stage="adult")
    assert _level_of(route, small_frozen(tmp_path / "after", results=False, program=small)) == 0.1


def _level_of(route, frozen):
    (level,) = {row["grid_degrees"] for row in rows(frozen, "stops") if row["route"] == route.code}
    return level


def test_no_exact_place_in_any_table(tmp_path, small):
    """Coordinates, and the times of sunset at them, which would give them away."""
    small.place_sharing = Sensitivity.HIGH
    small.save()
    places = list(Stop.objects.filter(route__program=small))
    first = small_frozen(tmp_path / "1", results=False, program=small)
    exact = {f"{value:.4f}" for stop in places for value in (stop.place.x, stop.place.y)}
    for path in first.folder.rglob("*.csv"):
        text = path.read_text(encoding="utf-8")
        assert not [number for number in exact if number in text], path
    # Other places in the same cells, the same tables.
    for stop in places:
        stop.place = Point(stop.place.x + 0.0005, stop.place.y - 0.002, srid=4326)
        stop.save()
    second = small_frozen(tmp_path / "2", results=False, program=small)
    for path in (first.folder / "data").iterdir():
        assert path.read_bytes() == (second.folder / "data" / path.name).read_bytes()


def test_exact_places_for_those_who_may_have_them(tmp_path, small):
    exact = small_frozen(tmp_path, results=False, exact=True, program=small)
    stops = {row["stop"]: row for row in rows(exact, "stops")}
    assert (stops["R2_1"]["latitude"], stops["R2_1"]["longitude"]) == (43.0731, -89.4012)
    assert stops["R2_1"]["name"] == "Stop 1"
    assert rows(exact, "routes")[1]["name"] == "Gopher Flat"
    for path in (tmp_path / "frozen/data").iterdir():
        same = path.read_bytes() == (exact.folder / "data" / path.name).read_bytes()
        assert same == (path.name not in ("stops.csv", "routes.csv"))


def test_a_stop_that_was_moved_is_a_new_stop(tmp_path, small):
    frozen = small_frozen(tmp_path, results=False, program=small)
    third = [row["stop"] for row in rows(frozen, "stops") if row["number"] == 3]
    assert third == ["R1_3", "R1_3_20230101", "R2_3"]
    years = {row["visit"]: row["season_year"] for row in rows(frozen, "visits")}
    used = {(row["stop"], years[row["visit"]] < 2023) for row in rows(frozen, "periods")}
    assert ("R1_3", True) in used
    assert ("R1_3_20230101", False) in used


def hear_again(program):
    """Two people hear a recording without its sheet."""
    visit = Visit.objects.filter(route__program=program).first()
    observer = make_member(program, person=visit.observer)
    recording = keep(observer, visit, sound(), stop=1, species="pseudacris-crucifer")
    make_stored_picture(recording)
    for _ in range(2):
        listener = make_member(program, Role.COORDINATOR)
        answer_blindly(listener, recording.pk, heard={"pseudacris-crucifer": 1})


def test_keys_and_references_hold(tmp_path, small):
    hear_again(small)
    frozen = small_frozen(tmp_path, program=small)
    for table in TABLES:
        found = rows(frozen, table.name)
        assert found, table.name
        keys = [tuple(row[column] for column in table.key) for row in found]
        assert len(keys) == len(set(keys)), table.name
        for column, other, key in table.refers:
            assert {row[column] for row in found} <= {row[key] for row in rows(frozen, other)}
        for column in table.columns:
            if column.required:
                assert all(row[column.name] is not None for row in found), column.name


def test_hostile_texts_come_back_and_run_nothing(tmp_path, small):
    frozen = small_frozen(tmp_path, results=False, program=small)
    assert rows(frozen, "routes")[0]["name"] == HOSTILE
    assert rows(frozen, "stops")[0]["name"] == "@pond, by the “old” mill\nand the road"
    with (frozen.folder / "data/routes.csv").open(encoding="utf-8", newline="") as file:
        assert list(csv.reader(file))[1][1] == "'" + HOSTILE


def test_limits_can_be_searched_for_as_they_are_typed(tmp_path, small):
    with pgtrigger.ignore("surveys.SeasonWindow:frozen_once_used"):
        SeasonWindow.objects.update(min_air_temperature=Decimal(8), temperature_unit="C")
    frozen = rows(small_frozen(tmp_path, program=small), "protocols")
    words = " ".join(f"{row['limits']} {row['windows']}" for row in frozen)
    assert "8 °C" in words
    assert "\N{NO-BREAK SPACE}" not in words


def test_the_same_data_give_the_same_bytes(tmp_path, small):
    first = small_frozen(tmp_path / "1", program=small)
    second = small_frozen(tmp_path / "2", program=small)
    for table in TABLES:
        assert (first.folder / table.file).read_bytes() == (second.folder / table.file).read_bytes()


def test_two_species_of_one_name_are_refused_in_words(tmp_path, program, observer):
    make_checklist(program, "Pseudacris crucifer")
    twin = make_species("Other code")
    twin.scientific_name = "Pseudacris crucifer"
    twin.save()
    program.checklist.create(species=twin, order=2)
    make_accepted_visit(make_route(program), observer.person)
    with pytest.raises(NamesCollide, match="Pseudacris crucifer"):
        small_frozen(tmp_path, results=False, program=program)
