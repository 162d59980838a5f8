"""The null run of the whole program: regions as they were surveyed, by their weights."""

from dataclasses import replace

import numpy as np
import pytest

from surveys.trends import null_whole
from surveys.trends.histories import PeriodColumns
from surveys.trends.null_run import NullRun
from surveys.trends.null_whole import whole_null_run
from surveys.trends.periods import SpeciesPeriods
from surveys.trends.whole_program import fit_regions, whole_program

NOTHING = NullRun(runs=0, fell=0, rose=0)


def periods_of(seed, shares, *, weights, routes=8, stops=5, visits=3, p=0.6):
    """Regions with a share of sites in each season year, from 2015 on; None where nobody went."""
    rng = np.random.default_rng(seed)
    years = len(next(iter(shares.values())))
    places, region, season, heard = [], [], [], []
    for number, (name, psi) in enumerate(shares.items()):
        stop, year = (axis.ravel() for axis in np.indices((routes * stops, years)))
        known = np.array([share is not None for share in psi])[year]
        stop, year = stop[known], year[known]
        chance = np.array([share or 0.0 for share in psi])[year]
        there = rng.random(len(stop)) < chance
        heard.append(there[:, None] & (rng.random((len(stop), visits)) < p))
        places.append(stop + 1000 * number)
        region += [name] * len(stop) * visits
        season.append(year)
    site, year = (np.repeat(np.concatenate(one), visits) for one in (places, season))
    flat, visit = (
        np.concatenate(heard).ravel() * 1.0,
        np.tile(np.arange(visits), len(site) // visits),
    )
    return SpeciesPeriods(
        columns=PeriodColumns(
            route=site // stops,
            stop=site,
            season_year=2015 + year,
            night=365 * (2015 + year) + 30 * visit,
            visit_number=visit + 1,
            call_index=flat,
            heard=flat,
        ),
        day=30 * visit,
        in_season=np.ones(len(site), dtype=bool),
        stops={},
        region=np.array(region),
        weights=weights,
    )


EVEN = {"North": 1.0, "South": 1.0}


def test_a_fall_of_the_program_is_taken_out_region_by_region():
    falling = np.linspace(0.8, 0.25, 8)
    periods = periods_of(1, {"North": falling, "South": falling}, weights=EVEN)
    assert whole_program(fit_regions(periods, "stop")).change.high < 0
    told = whole_null_run("Pseudacris crucifer", periods, runs=20)
    assert told.runs == 20
    assert told.fell <= 3
    assert whole_null_run("Pseudacris crucifer", periods, runs=20) == told


def test_nothing_is_simulated_of_what_is_not_told():
    even = [0.5] * 8
    periods = periods_of(2, {"North": even, "South": even}, weights=EVEN)
    assert whole_null_run("x", replace(periods, weights={}), runs=2) == NOTHING
    assert whole_null_run("x", replace(periods, weights={"North": 1.0}), runs=2) == NOTHING
    short = periods_of(3, {"North": even[:3], "South": even[:3]}, weights=EVEN)
    assert whole_null_run("x", short, runs=2) == NOTHING


def test_weights_and_gaps_are_those_of_the_program(monkeypatch):
    """What is simulated goes together as the data do: by the weights, over the seasons in which
    every region was surveyed, with a silent region that stays silent."""
    even = [0.5] * 9
    shares = {"North": even, "South": [None, *even[1:]], "West": [0.0] * 9}
    weights = {"North": 1.0, "South": 5.0, "West": 2.0}
    periods, seen = periods_of(4, shares, weights=weights), []
    told = null_whole.regions_of

    def spied(surveyed, **more):
        seen.append(surveyed)
        return told(surveyed, **more)

    monkeypatch.setattr(null_whole, "regions_of", spied)
    assert whole_null_run("x", periods, runs=3).runs == 3
    data, *simulated = seen
    assert len(simulated) == 3
    for program in simulated:
        assert [one.stratum.weight for one in program] == [1.0, 5.0, 2.0]
        for was, one in zip(data, program, strict=True):
            np.testing.assert_array_equal(
                np.isnan(one.histories.detected), np.isnan(was.histories.detected)
            )
            assert one.stratum.levels.years.tolist() == was.stratum.levels.years.tolist()
        assert program[2].stratum.silent
        assert not (program[0].histories.detected == data[0].histories.detected).all()


def test_good_years_are_shared_by_all_regions():
    """Shares of two regions move together as far as their years scatter."""
    shares = 1 / (1 + np.exp(-np.random.default_rng(5).normal(0, 1.0, 10)))
    periods = periods_of(6, {"North": shares, "South": shares}, weights=EVEN, routes=20)
    regions = [
        null_whole._region(null_whole.in_region(periods, name), 1.0) for name in ("North", "South")
    ]
    rng, together = np.random.default_rng(7), []
    for _ in range(6):
        good = {year: float(rng.normal()) for year in range(2015, 2025)}
        drawn = [one.surveyed(rng, good).histories for one in regions]
        yearly = [
            [h.detected[h.season_year == year].mean() for year in range(2015, 2025)] for h in drawn
        ]
        together.append(np.corrcoef(yearly)[0, 1])
    assert np.mean(together) > 0.6


@pytest.mark.slow
def test_false_alarms_of_the_whole_program_are_few():
    shares = 1 / (1 + np.exp(-np.random.default_rng(8).normal(0, 0.3, 10)))
    periods = periods_of(
        9, {"North": shares, "South": shares[::-1]}, weights={"North": 1.0, "South": 4.0}
    )
    told = whole_null_run("Pseudacris crucifer", periods, runs=200)
    assert told.alarms.low < 0.05
    assert told.alarms.value < 0.1
