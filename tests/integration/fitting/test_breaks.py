"""What the live path and the frozen tables know of changes of listening, open seasons, new
observers and how routes were chosen."""

import datetime as dt

import numpy as np
import pytest

from surveys.fitting import histories
from surveys.fitting.histories import load_periods
from surveys.fitting.stamps import data_stamp
from surveys.models import ProtocolVersion, RouteChoice, SeasonWindow
from surveys.programs.schedule import open_season
from surveys.trends.breaks import find_breaks
from surveys.trends.from_tables import read_periods
from surveys.trends.periods import species_periods
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_person,
    make_route,
    make_version,
)
from tests.support.frozen import small_frozen

pytestmark = pytest.mark.django_db
YEARS = (2019, 2020, 2021, 2022, 2023, 2024)


def second_version(version, **changes):
    """The next version of a protocol, in force from 2022 on, with the same window."""
    facts = {
        field.attname: getattr(version, field.attname)
        for field in ProtocolVersion._meta.concrete_fields
        if field.name not in ("id", "created_at")
    }
    facts |= {"number": 2, "in_force_from": dt.date(2022, 1, 1)}
    days = {name: changes.pop(name) for name in ("closes_month", "name") if name in changes}
    later = ProtocolVersion.objects.create(**facts | changes)
    window = version.windows.get()
    SeasonWindow.objects.create(
        version=later,
        order=1,
        **{
            "name": window.name,
            "opens_month": 3,
            "opens_day": 15,
            "closes_month": 6,
            "closes_day": 30,
        }
        | days,
    )
    return later


def surveyed(program, person, changes, *, stops=3):
    version = make_version(program)
    later = second_version(version, **changes)
    route = make_route(program, version=version, stops=stops)
    for year in YEARS:
        make_accepted_visit(
            route,
            person,
            night=dt.date(year, 4, 15),
            season_year=year,
            protocol_version=version if year < 2022 else later,
        )
    return route


@pytest.mark.parametrize(
    ("changes", "breaks"),
    [
        ({"listening_time_s": 180}, (2022,)),
        ({"latest_end_after_sunset_min": 240}, (2022,)),
        ({"settling_wait_s": 60}, (2022,)),
        ({"closes_month": 5}, (2022,)),
        ({"max_beaufort": 3}, ()),
        ({"min_stops": 2}, ()),
        ({"name": "Whole season"}, ()),
    ],
    ids=["listening time", "hours", "wait", "window", "wind", "stops", "name of the window"],
)
def test_a_version_is_a_break_where_it_changes_what_is_heard(program, observer, changes, breaks):
    make_checklist(program, "Pseudacris crucifer")
    surveyed(program, observer.person, changes)
    loaded = load_periods(program)
    assert find_breaks(loaded.columns, loaded.in_use).protocol == breaks


def test_frozen_tables_hold_all_that_the_live_path_knows(tmp_path, program, observer):
    """Breaks, observers, lists of stops and routes are the same from the database and from the
    tables of a publication."""
    (peeper,) = make_checklist(program, "Pseudacris crucifer")
    route = surveyed(program, observer.person, {"listening_time_s": 180}, stops=4)
    route.chosen = RouteChoice.HEARD
    route.save()
    other = make_route(program, version=route.protocol.versions.get(number=1), stops=2)
    other.stops.filter(number=2).update(active_until=dt.date(2023, 12, 31))
    make_accepted_visit(other, make_person("Wren Holloway"), night=dt.date(2023, 5, 2))
    frozen = small_frozen(tmp_path, program=program, results=False)
    read = species_periods(read_periods(frozen.folder / "data").periods, 0)
    loaded = species_periods(load_periods(program), peeper.pk)
    assert find_breaks(read.columns, read.in_use) == find_breaks(loaded.columns, loaded.in_use)
    assert find_breaks(read.columns, read.in_use).protocol == (2022,)
    for periods in (read, loaded):
        new = periods.columns.first_season
        assert set(periods.columns.season_year[new].tolist()) == {2019, 2023}
        assert new.sum() == 4 + 2
        assert sorted(periods.chosen.values()) == ["heard", "unknown"]
        assert sorted(map(repr, periods.in_use.values())) == sorted(
            map(repr, loaded.in_use.values())
        )
    np.testing.assert_array_equal(
        np.unique(read.columns.way, return_counts=True)[1],
        np.unique(loaded.columns.way, return_counts=True)[1],
    )


@pytest.mark.parametrize(
    ("night", "year"),
    [
        (dt.date(2024, 3, 14), 2024),
        (dt.date(2024, 4, 1), 2024),
        (dt.date(2024, 6, 30), 2024),
        (dt.date(2024, 7, 1), None),
    ],
)
def test_a_season_is_open_until_its_last_window_is_over(program, night, year):
    make_route(program)
    assert open_season(program, night) == year


def test_a_season_over_new_year_is_open_on_both_sides_of_it(program):
    windows = [
        {
            "name": "Winter",
            "opens_month": 12,
            "opens_day": 1,
            "closes_month": 2,
            "closes_day": 15,
        }
    ]
    version = make_version(program, season_begins_month=9, season_begins_day=1, windows=windows)
    make_route(program, version=version)
    for night in (dt.date(2023, 12, 20), dt.date(2024, 2, 15)):
        assert open_season(program, night) == 2024
    assert open_season(program, dt.date(2024, 2, 16)) is None


def test_routes_given_up_keep_no_season_open(program):
    make_route(program, active=False)
    assert open_season(program, dt.date(2024, 4, 1)) is None


def test_an_open_season_goes_into_the_fits_and_its_end_asks_for_new_ones(
    program, observer, monkeypatch
):
    (peeper,) = make_checklist(program, "Pseudacris crucifer")
    make_accepted_visit(make_route(program), observer.person)
    found = {}
    for night in (dt.date(2024, 5, 1), dt.date(2024, 7, 1)):
        monkeypatch.setattr(histories, "tonight", lambda program, night=night: night)
        monkeypatch.setattr("surveys.fitting.stamps.tonight", lambda program, night=night: night)
        periods = species_periods(load_periods(program), peeper.pk)
        found[night.month] = (periods.open_year, periods.sha256, data_stamp(program))
    assert (found[5][0], found[7][0]) == (2024, None)
    assert found[5][1] != found[7][1]
    assert found[5][2] != found[7][2]


def test_an_open_season_without_the_species_changes_nothing(program, observer, monkeypatch):
    (peeper,) = make_checklist(program, "Pseudacris crucifer")
    make_accepted_visit(make_route(program), observer.person)
    sums = set()
    for night in (dt.date(2025, 5, 1), dt.date(2025, 7, 1)):
        monkeypatch.setattr(histories, "tonight", lambda program, night=night: night)
        sums.add(species_periods(load_periods(program), peeper.pk).sha256)
    assert len(sums) == 1


@pytest.mark.parametrize("change", ["stop", "route"])
def test_a_stop_closed_and_a_route_told_otherwise_make_fits_stale(program, observer, change):
    (peeper,) = make_checklist(program, "Pseudacris crucifer")
    route = make_route(program)
    make_accepted_visit(route, observer.person)

    def marks():
        return data_stamp(program), species_periods(load_periods(program), peeper.pk).sha256

    before = marks()
    if change == "stop":
        route.stops.filter(number=3).update(active_until=dt.date(2024, 12, 31))
    else:
        program.routes.update(chosen=RouteChoice.RANDOM)
    after = marks()
    assert before[0] != after[0]
    assert before[1] != after[1]


def test_first_seasons_are_told_by_observer(program, observer):
    make_checklist(program, "Pseudacris crucifer")
    route, other = make_route(program, stops=1), make_route(program, stops=1)
    wren = make_person("Wren Holloway")
    for year in (2022, 2023):
        make_accepted_visit(route, observer.person, night=dt.date(year, 4, 15), season_year=year)
    for year in (2023, 2024):
        make_accepted_visit(other, wren, night=dt.date(year, 4, 16), season_year=year)
    columns = load_periods(program).columns
    told = dict(
        zip(
            zip(columns.route.tolist(), columns.season_year.tolist(), strict=True),
            columns.first_season.tolist(),
            strict=True,
        )
    )
    assert told == {
        (route.pk, 2022): True,
        (route.pk, 2023): False,
        (other.pk, 2023): True,
        (other.pk, 2024): False,
    }
