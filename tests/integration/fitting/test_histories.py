"""Rows to arrays: zeros, what is missing, what is left out."""

import datetime as dt

import numpy as np
import pytest

from surveys.fitting.histories import load_periods
from surveys.models import (
    CallIndex,
    ChecklistEntry,
    Stop,
)
from surveys.trends import build_histories
from surveys.trends.periods import (
    TRACE_OF_RAIN_MM,
    calling_season,
    species_periods,
)
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_person,
    make_program,
    make_route,
    make_version,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def species(program):
    return make_checklist(program, "Pseudacris crucifer", "Anaxyrus americanus")


def arrays(program, species, **options):
    own = species_periods(load_periods(program), species.pk, **options)
    return own, build_histories(own.columns)


def test_silence_is_zero_and_a_skipped_stop_is_missing(program, observer, species):
    peeper, toad = species
    route = make_route(program, stops=3)
    make_accepted_visit(
        route, observer.person, heard={1: {peeper: 2}, 2: {toad: 1}}, skipped=frozenset({3})
    )
    make_accepted_visit(route, observer.person, night=dt.date(2024, 5, 1), heard={3: {peeper: 3}})
    _, histories = arrays(program, peeper)
    np.testing.assert_array_equal(histories.detected, [[1, 0], [0, 0], [np.nan, 1]])
    np.testing.assert_array_equal(histories.call_index, [[2, 0], [0, 0], [np.nan, 3]])
    assert histories.cluster.tolist() == [route.pk] * 3


@pytest.mark.parametrize(
    "change",
    [{"counts_in_trends": False}, {"counts_in_trends": False, "not_sure": True, "index": None}],
)
def test_a_call_that_does_not_count_is_missing(program, observer, species, change):
    peeper, toad = species
    make_accepted_visit(make_route(program), observer.person, heard={1: {peeper: 2, toad: 1}})
    CallIndex.objects.filter(species=peeper).update(**change)
    _, histories = arrays(program, peeper)
    missing = Stop.objects.get(number=1).pk
    assert missing not in histories.site.tolist()
    np.testing.assert_array_equal(histories.detected, [[0], [0]])
    np.testing.assert_array_equal(arrays(program, toad)[1].detected, [[1], [0], [0]])


@pytest.mark.parametrize("options", [{"state": "submitted"}, {"state": "set_aside"}, {}])
def test_visits_that_do_not_count_are_no_rows(program, observer, species, options):
    make_accepted_visit(make_route(program), observer.person, counts_in_trends=False, **options)
    assert len(load_periods(program).day) == 0


def test_nights_off_the_checklist_are_no_rows(program, observer, species):
    route = make_route(program)
    for night in (dt.date(2024, 4, 1), dt.date(2024, 4, 10), dt.date(2024, 4, 20)):
        make_accepted_visit(route, observer.person, night=night)
    ChecklistEntry.objects.filter(species=species[0]).update(
        listed_from=dt.date(2024, 4, 10), listed_until=dt.date(2024, 4, 10)
    )
    own, _ = arrays(program, species[0])
    assert set(own.columns.night.tolist()) == {dt.date(2024, 4, 10).toordinal()}


def test_the_calling_season_may_cross_new_year(program, observer, species):
    version = make_version(program, season_begins_month=7, season_begins_day=1)
    route = make_route(program, version=version, stops=1)
    for night in (
        dt.date(2023, 11, 30),
        dt.date(2023, 12, 5),
        dt.date(2024, 2, 1),
        dt.date(2024, 4, 1),
    ):
        make_accepted_visit(route, observer.person, night=night, season_year=2024)
    ChecklistEntry.objects.filter(species=species[0]).update(
        calls_from_month=12, calls_from_day=1, calls_to_month=3, calls_to_day=15
    )
    own, _ = arrays(program, species[0])
    assert own.in_season.tolist() == [False, True, True, False]
    # Days from 1 July 2023.
    assert own.day.tolist() == [152, 157, 215, 275]
    assert len(calling_season(own).night) == 2


def test_covariates_of_a_stop_fall_back_on_the_head_of_the_sheet(program, observer, species):
    visit = make_accepted_visit(
        make_route(program),
        observer.person,
        start_air_temperature_c=9,
        start_beaufort=2,
        rain_48h_mm=4,
    )
    first, second, third = visit.periods.order_by("stop__number")
    visit.periods.filter(pk=first.pk).update(air_temperature_c=None, water_tonight="full")
    visit.periods.filter(pk=second.pk).update(
        beaufort=3, noise="heard_through", water_tonight="not_seen"
    )
    found = species_periods(load_periods(program), species[0].pk).columns.covariates
    order = np.argsort([first.stop_id, second.stop_id, third.stop_id])
    for name, expected in {
        "temperature": [9, 12, 12],
        "wind": [2, 3, 2],
        "noise": [np.nan, 1, np.nan],
        "rain": [4, 4, 4],
        "water": [2, np.nan, np.nan],
    }.items():
        np.testing.assert_array_equal(found[name], np.array(expected)[order], err_msg=name)


def test_a_trace_of_rain_is_neither_zero_nor_missing(program, observer, species):
    make_accepted_visit(make_route(program), observer.person, rain_48h_is_trace=True)
    found = species_periods(load_periods(program), species[0].pk).columns.covariates["rain"]
    assert set(found) == {TRACE_OF_RAIN_MM}
    assert 0 < TRACE_OF_RAIN_MM < 0.1


def test_minutes_after_sunset(program, observer, species):
    """Sunset at 43.0731 N 89.4012 W on 15 April 2024: 19:41 CDT, after the solar tables of the
    US Naval Observatory for Madison, Wisconsin (from memory: 7:41 p.m.); the visit starts
    at 20:31 CDT."""
    make_accepted_visit(make_route(program, stops=1), observer.person)
    minutes = species_periods(load_periods(program), species[0].pk).columns.covariates[
        "minutes after sunset"
    ]
    assert minutes[0] == pytest.approx(50, abs=2)


def test_regions(program, observer, species):
    for region in ("North", "South", ""):
        route = make_route(program, stops=2, region=region)
        make_accepted_visit(route, observer.person)
    periods = load_periods(program)
    assert periods.regions == ["North", "South"]
    assert len(species_periods(periods, species[0].pk, region="North").day) == 2
    assert len(species_periods(periods, species[0].pk).day) == 6


def test_two_visits_of_one_night_stay_apart(program, observer, species):
    route = make_route(program, stops=1)
    make_accepted_visit(route, observer.person, heard={1: {species[0]: 1}})
    make_accepted_visit(route, observer.person)
    detected = arrays(program, species[0])[1].detected
    assert sorted(detected[0].tolist()) == [0, 1]
    make_accepted_visit(route, observer.person, night=dt.date(2025, 4, 15))
    numbers = load_periods(program).columns.visit_number
    assert numbers.tolist() == [1, 2, 1], "Visits are numbered anew in each season year."


def test_the_first_season_of_an_observer_is_that_in_this_program(program, observer, species):
    route = make_route(program, stops=1)
    elsewhere = make_route(make_program(), stops=1)
    make_accepted_visit(
        elsewhere, observer.person, night=dt.date(2022, 4, 15), heard={1: {species[0]: 3}}
    )
    for year in (2023, 2024):
        make_accepted_visit(route, observer.person, night=dt.date(year, 4, 15))
    assert load_periods(program).columns.first_season.tolist() == [True, False]


def test_a_season_of_coming_along_is_not_the_first_of_an_observer(program, observer):
    route, wren = make_route(program, stops=1), make_person("Wren Holloway")
    make_accepted_visit(route, observer.person, night=dt.date(2022, 4, 15), second_member=wren)
    make_accepted_visit(route, wren, night=dt.date(2023, 4, 15))
    assert load_periods(program).columns.first_season.tolist() == [True, True]


def test_query_count_does_not_grow(program, observer, species, django_assert_num_queries):
    for number in range(3):
        route = make_route(program, stops=2)
        make_accepted_visit(route, observer.person, heard={1: {species[number % 2]: 1}})
        with django_assert_num_queries(11):
            load_periods(program)


def test_checksum_follows_the_data_of_its_species(program, observer, species):
    peeper, toad = species
    visit = make_accepted_visit(make_route(program), observer.person, heard={1: {peeper: 2}})

    def checksums():
        periods = load_periods(program)
        return [species_periods(periods, one.pk).sha256 for one in species]

    before = checksums()
    assert checksums() == before
    CallIndex.objects.filter(species=peeper).update(index=3)
    other = checksums()
    assert (other[0] != before[0], other[1] != before[1]) == (True, False)
    visit.periods.update(air_temperature_c=5)
    assert all(new != old for new, old in zip(checksums(), other, strict=True))
    assert toad.pk != peeper.pk


def test_what_is_known_of_a_stop_comes_along_by_its_name(program, observer, species):
    route = make_route(program, stops=1)
    make_accepted_visit(route, observer.person)
    stop = route.stops.get()
    Stop.objects.filter(pk=stop.pk).update(habitat="marsh", hydroperiod="seasonal", fish="yes")
    described = load_periods(program).stops
    stop.refresh_from_db()
    assert described == {
        "habitat": {stop.pk: stop.habitat},
        "hydroperiod": {stop.pk: stop.hydroperiod},
        "fish": {stop.pk: stop.fish},
    }
    assert len({stop.habitat, stop.hydroperiod, stop.fish}) == 3
