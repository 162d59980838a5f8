"""The truths that the demo states can be counted back from its sheets."""

import datetime as dt
from collections import defaultdict
from functools import cache

import pytest

from surveys.demo.calendar import seasons_until
from surveys.demo.nature import (
    detection,
    is_suitable,
)
from surveys.demo.story import (
    Scale,
    Story,
    make_story,
)
from surveys.demo.truths import (
    SpeciesTruth,
    Truths,
    occupancy,
    read_people,
    read_places,
    read_truths,
)
from surveys.protocol.distance import distance_m
from surveys.protocol.seasons import in_days

UNTIL = dt.date(2026, 11, 25)
SEEDS = range(1, 5)
WINTER_BREEDER = "pseudacris-ornata"
SPRING_PEEPER = "pseudacris-crucifer"


def make(seed: int, slug: str, **scale) -> Story:
    truths = read_truths()
    truth = next(program for program in truths.programs if program.slug == slug)
    scale = Scale(until=UNTIL, seed=seed, **scale)
    return make_story(truths, read_places(), read_people(), truth, scale)


@cache
def stories_of(slug: str) -> list[Story]:
    """To be looked at only."""
    return [make(seed, slug) for seed in SEEDS]


@pytest.fixture(scope="module")
def truths() -> Truths:
    return read_truths()


@pytest.fixture(scope="module", params=["larkmoor-spring", "saltgrass-winter"])
def stories(request) -> list[Story]:
    return stories_of(request.param)


@pytest.fixture(scope="module")
def winter_stories() -> list[Story]:
    return stories_of("saltgrass-winter")


def trials(stories: list[Story], species: SpeciesTruth):
    for story in stories:
        for visit in story.visits:
            for trial in visit.evening.trials:
                if trial.species == species.code:
                    yield visit, trial


def test_sheets_show_the_stated_occupancy(stories, truths):
    """A stop is occupied in a season year when its species could be tried for there."""
    for species in stories[0].truth.species:
        occupied, suitable, expected = 0, 0, 0.0
        for story in stories:
            tried = {
                (visit.route, trial.stop, visit.season.number)
                for visit, trial in trials([story], species)
            }
            listened = {
                (visit.route, stop.number, visit.season.number)
                for visit in story.visits
                for stop in visit.outing.route.stops
                if is_suitable(species, stop.wetland)
                and f"stops.{stop.number}.started_at" in visit.evening.cells
            }
            occupied += len(tried & listened)
            suitable += len(listened)
            expected += sum(occupancy(species, number, truths.seasons) for *_, number in listened)
        assert suitable > 300
        assert occupied / suitable == pytest.approx(expected / suitable, abs=0.07), species.code


def test_detections_come_as_often_as_stated(stories):
    """Hits are counted against the sum of their chances: within four standard errors."""
    for species in stories[0].truth.species:
        found = [trial for _, trial in trials(stories, species)]
        expected = sum(trial.chance for trial in found)
        spread = sum(trial.chance * (1 - trial.chance) for trial in found) ** 0.5
        assert abs(sum(trial.index > 0 for trial in found) - expected) < 4 * spread, species.code


def test_call_indices_have_the_stated_shares(stories):
    for species in stories[0].truth.species:
        heard = [trial.index for _, trial in trials(stories, species) if trial.index]
        for index, share in enumerate(species.index_shares, start=1):
            spread = (share * (1 - share) / len(heard)) ** 0.5
            assert heard.count(index) / len(heard) == pytest.approx(share, abs=4 * spread)


def naive_occupancy(stories: list[Story], species: SpeciesTruth, seasons: range) -> float:
    """Share of stop-seasons with a detection among those suitable and listened in season."""
    heard, tried = set(), set()
    for number, story in enumerate(stories):
        for visit in story.visits:
            in_season = in_days(visit.outing.night, *species.season)
            if visit.season.number not in seasons or not in_season:
                continue
            for stop in visit.outing.route.stops:
                if is_suitable(species, stop.wetland):
                    key = (number, visit.route, stop.number, visit.season.number)
                    tried.add(key)
                    address = f"stops.{stop.number}.calls.{species.code}"
                    if not visit.evening.cells.get(address, "?").endswith(("?", "far")):
                        heard.add(key)
    return len(heard) / len(tried)


def test_naive_counts_move_the_stated_way(stories):
    """First against last third, for species that change by more than 0.15."""
    moving = 0
    for species in stories[0].truth.species:
        first, last = species.occupancy
        if abs(last - first) > 0.15:
            moving += 1
            before = naive_occupancy(stories, species, range(1, 5))
            after = naive_occupancy(stories, species, range(9, 13))
            assert (after > before) == (last > first), species.code
    assert moving >= 3


def test_warm_evenings_are_louder():
    """The stated slope, on the logit scale, at the peak of the season."""
    species = read_truths().programs[0].species[4]
    night = dt.date(2026, species.peak.month, species.peak.day)
    at = {
        temperature: detection(
            species, night=night, temperature_c=temperature, hours_after_sunset=1.5
        )
        for temperature in (species.reference_c - 5, species.reference_c, species.reference_c + 5)
    }
    cold, reference, warm = at.values()
    assert reference == pytest.approx(species.detection)
    assert cold < reference < warm


def test_winter_breeders_call_once_the_wetland_is_filled_and_into_march(winter_stories):
    """Common practice, no source: in the southeastern coastal plain winter breeders call from
    November at the earliest, mostly from mid-December, into March, once winter rain has filled
    their seasonal, fishless, grassy wetlands."""
    filled_after = winter_stories[0].truth.filling
    first: dict[str, list[dt.date]] = defaultdict(list)
    for story in winter_stories:
        wetlands = {(r.code, s.number): s.wetland for r in story.routes for s in r.stops}
        season_firsts: dict[tuple[str, int], dt.date] = {}
        for visit in story.visits:
            for trial in visit.evening.trials:
                if not trial.index:
                    continue
                night = visit.outing.night
                season_firsts.setdefault((trial.species, visit.season.year), night)
                if trial.species == WINTER_BREEDER:
                    assert night.month >= 11 or night.month <= 3
                    assert visit.outing.weather.rain_since_autumn_mm >= filled_after.mm
                    wetland = wetlands[visit.route, trial.stop]
                    assert wetland.habitat == "grassy"
                    assert wetland.hydroperiod == "season"
                    assert wetland.fish == "no"
        for (species, year), night in season_firsts.items():
            first[species].append((night - dt.date(year, 1, 1)).days)
    breeder, peeper = sorted(first[WINTER_BREEDER]), sorted(first[SPRING_PEEPER])
    assert breeder[len(breeder) // 2] < peeper[len(peeper) // 2]
    assert breeder[len(breeder) // 2] < 20


def test_same_seed_same_story():
    one, two = (make(3, "saltgrass-winter", routes=3, years=2) for _ in range(2))
    assert one == two
    assert one != make(4, "saltgrass-winter", routes=3, years=2)


def test_a_day_later_changes_nothing_that_was():
    """Only the evenings since then, the sheet still being typed and its route differ."""
    truths, places, people = read_truths(), read_places(), read_people()
    truth = truths.programs[0]
    before, after = (
        make_story(truths, places, people, truth, Scale(until=until, seed=2, years=3))
        for until in (dt.date(2026, 9, 1), dt.date(2026, 9, 2))
    )
    assert before.visits == after.visits


@pytest.mark.parametrize(
    ("slug", "until", "first", "last"),
    [
        ("larkmoor-spring", dt.date(2026, 11, 25), 2015, 2026),
        ("larkmoor-spring", dt.date(2026, 7, 8), 2015, 2026),
        # The last window closes on 8 July: the day before, 2026 is still running.
        ("larkmoor-spring", dt.date(2026, 7, 7), 2014, 2026),
        ("saltgrass-winter", dt.date(2026, 11, 25), 2015, 2027),
        ("saltgrass-winter", dt.date(2026, 9, 30), 2015, 2026),
    ],
)
def test_seasons_until(truths, slug, until, first, last):
    truth = next(program for program in truths.programs if program.slug == slug)
    seasons = seasons_until(truth.versions[0].protocol, until, stated=12, years=12)
    assert (seasons[0].year, seasons[-1].year) == (first, last)
    assert next(s.year for s in seasons if s.number == 12) == first + 11


def test_the_demo_is_as_large_as_promised():
    stories = [make(1, slug) for slug in ("larkmoor-spring", "saltgrass-winter")]
    assert sum(len(story.routes) for story in stories) >= 24
    assert all(len(route.stops) == 10 for story in stories for route in story.routes)
    assert all(sum(s.number <= 12 for s in story.seasons) == 12 for story in stories)


def test_stops_keep_the_spacing_of_the_protocol(stories):
    spacing = stories[0].truth.versions[-1].protocol.min_stop_spacing_m
    for route in stories[0].routes:
        for one, two in zip(route.stops, route.stops[1:], strict=False):
            assert distance_m(one.place, two.place) >= spacing


def test_occupancy_runs_straight_on_the_logit_scale(truths):
    species = truths.programs[0].species[2]
    assert occupancy(species, 1, 12) == pytest.approx(species.occupancy[0])
    assert occupancy(species, 12, 12) == pytest.approx(species.occupancy[1])
    odds = [psi / (1 - psi) for psi in (occupancy(species, n, 12) for n in (1, 2, 3))]
    assert odds[1] / odds[0] == pytest.approx(odds[2] / odds[1])
