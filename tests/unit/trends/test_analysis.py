"""The whole analysis of one species: what is independent in it, and what is not.

A stop that is written down twice brings no knowledge: routes are what is independent of each
other. Standard errors that shrink with copies of stops, or models that win by copies, mean that
some part of the analysis takes the stops of a route as independent.
"""

from dataclasses import replace

import numpy as np
import pytest

from surveys.fitting.results import to_json
from surveys.trends.analysis import (
    Parts,
    analyze,
)
from surveys.trends.estimates import SITES_DISAGREE
from surveys.trends.histories import PeriodColumns, build_histories
from surveys.trends.model_selection import detection_covariates, fill_with_mean
from surveys.trends.models.dynamic import dynamic_chance, equilibrium_occupancy, fit_dynamic
from surveys.trends.periods import SpeciesPeriods, calling_season
from tests.support import fits
from tests.support.fits import as_bytes, in_order, once
from tests.support.simulated_programs import (
    repeat_stops,
    simulate,
    some_nature,
)

WITHOUT_RESAMPLING = Parts(fit_check=False, phenology=False)
TURNOVER_ALONE = Parts(fit_check=False, index=False, phenology=False)
SEEDS = (0, 2, 7)


def analyze_copies(seed, copies):
    rng = np.random.default_rng(seed)
    made = simulate(rng, some_nature(rng), routes=10, years=5)
    return analyze("x", repeat_stops(made.periods, copies), site="stop", parts=WITHOUT_RESAMPLING)


@pytest.fixture(scope="module", params=SEEDS)
def copied(request):
    """The same program with every stop four and eight times. From four copies on, every model's
    penalty for dependent rows is larger than its number of parameters."""
    return analyze_copies(request.param, 4), analyze_copies(request.param, 8)


def intervals_by_route(result):
    """Every interval that counts routes, by what it is of."""
    by_route = {
        "trend, log odds": result.trend.log_odds,
        "trend, odds": result.trend.odds,
        "trend, occupancy": result.trend.occupancy,
        "trend, points": result.trend.points,
        "trend, not corrected": result.trend.naive,
        "colonization": result.turnover.colonization,
        "extinction": result.turnover.extinction,
        "equilibrium": result.turnover.equilibrium,
    }
    for year, share in (*result.trend.line, *result.trend.naive_line):
        by_route[f"line in {year}, {share.method}"] = share
    for effect in result.trend.effects:
        by_route[f"effect of {effect.name}"] = effect.odds
    for year in result.years:
        by_route[f"occupancy in {year.season_year}"] = year.occupancy_by_route
        by_route[f"detection in {year.season_year}"] = year.detection
    for year in result.index:
        by_route[f"expected index in {year.season_year}"] = year.expected_index
        by_route[f"full chorus in {year.season_year}"] = year.full_chorus
    return {
        name: (estimate.low, estimate.high)
        for name, estimate in by_route.items()
        if estimate.low is not None
    }


def test_copies_of_stops_narrow_no_interval(copied):
    four, eight = (intervals_by_route(result) for result in copied)
    assert len(four) > 25
    assert four.keys() == eight.keys()
    for name, interval in four.items():
        assert eight[name] == pytest.approx(interval, rel=2e-3, abs=2e-3), name
    assert 1 <= copied[1].trend.log_odds.se / copied[0].trend.log_odds.se < 1.005


def test_two_copies_keep_the_standard_error_of_the_trend():
    alone, doubled = analyze_copies(0, 1), analyze_copies(0, 2)
    assert doubled.trend.detection_model == alone.trend.detection_model
    assert doubled.trend.occupancy_model == alone.trend.occupancy_model
    # The prior on single years counts half as much beside twice the stops: a little wider.
    assert 1 <= doubled.trend.log_odds.se / alone.trend.log_odds.se < 1.005
    assert 1 <= doubled.trend.naive.low / alone.trend.naive.low < 1.005


def test_copies_of_stops_let_no_model_win(copied):
    """Twice the copies double the log-likelihood and the penalty of every model alike: the same
    order, every distance doubled."""
    four, eight = copied
    for lines, doubled in (
        (four.trend.detection_models, eight.trend.detection_models),
        (four.trend.occupancy_models, eight.trend.occupancy_models),
    ):
        assert [line.name for line in lines] == [line.name for line in doubled]
        for line, twice in zip(lines, doubled, strict=True):
            assert twice.delta == pytest.approx(2 * line.delta, rel=0.01, abs=0.05), line.name
    assert len(four.trend.detection_models) >= 4


@pytest.mark.parametrize("site", ["stop", "route"])
def test_turnover_is_the_dynamic_model_with_the_detection_that_was_chosen(site):
    """Histories laid out season by season, a year without visits empty. Stops of a route are alike,
    routes are not, and ten routes carry no covariate."""
    rng = np.random.default_rng(0)
    periods = simulate(rng, some_nature(rng), routes=10, years=5).periods
    result = analyze("x", periods, site=site, parts=TURNOVER_ALONE)
    histories = build_histories(calling_season(periods), site=site)
    covariates, _ = fill_with_mean(histories)
    names = detection_covariates(result.trend.detection_model)
    assert bool(names) is (site == "stop")

    sites, years = np.unique(histories.site), np.unique(histories.season_year)
    shape = (len(sites), years.max() - years.min() + 1, histories.detected.shape[1])
    seen, known = np.full(shape, np.nan), {name: np.full(shape, np.nan) for name in names}
    routes = {}
    for row, (label, year) in enumerate(zip(histories.site, histories.season_year, strict=True)):
        place = np.searchsorted(sites, label), year - years.min()
        seen[place] = histories.detected[row]
        routes[label] = histories.cluster[row]
        for name in names:
            known[name][place] = covariates[name][row]
    clusters = [routes[label] for label in sites] if site == "stop" else None
    fit = fit_dynamic(seen, detection=known, clusters=clusters)
    for one, other in (
        (result.turnover.colonization, dynamic_chance(fit, "colonization")),
        (result.turnover.extinction, dynamic_chance(fit, "extinction")),
        (result.turnover.equilibrium, equilibrium_occupancy(fit)),
    ):
        found, wanted = (
            {name: number for name, number in vars(of).items() if isinstance(number, float)}
            for of in (one, other)
        )
        assert found == pytest.approx(wanted, rel=1e-9)
        assert (one.name, one.interval, one.flags) == (other.name, other.interval, other.flags)
    assert ("clustered" in result.turnover.colonization.interval) is (site == "stop")


def test_what_is_known_of_stops_is_tried_in_the_models_of_occupancy():
    """A species that lives without fish only: the choice finds it, and says so."""
    rng = np.random.default_rng(1)
    nature = replace(
        some_nature(rng), level=np.array([1.5, 1.5, -2.5, 1.5, 1.5, -2.5]), detection=0.8
    )
    made = simulate(rng, nature, routes=10, years=5)
    parts = Parts(fit_check=False, turnover=False, index=False, phenology=False)
    result = analyze("x", made.periods, site="stop", parts=parts)
    assert {model.name for model in result.trend.occupancy_models} > {"year-fish"}
    assert result.trend.occupancy_model != "year"
    assert [effect for effect in result.trend.effects if effect.part == "occupancy"]
    assert SITES_DISAGREE not in result.trend.occupancy.flags


def test_ever_fewer_routes_with_ever_more_stops_each():
    """A third of the stops is occupied every year, on all of 16 routes at first, on 6 at last."""
    rng = np.random.default_rng(4)
    stop, year, visit = (axis.ravel() for axis in np.indices((16 * 6, 6, 3)))
    routes = np.array([16, 14, 12, 10, 8, 6])[year]
    occupied = (stop // 6 < routes) & (stop % 6 * routes + stop // 6 < 32)
    heard = occupied & (rng.random(len(stop)) < 0.8)
    columns = PeriodColumns(
        route=stop // 6, stop=stop, season_year=2019 + year, night=365 * (2019 + year) + 30 * visit,
        visit_number=visit + 1, call_index=heard.astype(float), heard=heard.astype(float),
    )  # fmt: skip
    periods = SpeciesPeriods(
        columns=columns, day=30 * visit, in_season=np.ones(len(stop), dtype=bool), stops={}
    )
    parts = Parts(fit_check=False, turnover=False, index=False, phenology=False)
    assert SITES_DISAGREE in analyze("x", periods, site="stop", parts=parts).trend.occupancy.flags


def test_a_program_that_nobody_surveyed():
    rng = np.random.default_rng(1)
    periods = simulate(rng, some_nature(rng), routes=3, years=2).periods
    none = np.zeros(len(periods.day), dtype=bool)
    columns = periods.columns
    nothing = replace(
        periods,
        columns=PeriodColumns(
            route=columns.route[none], stop=columns.stop[none],
            season_year=columns.season_year[none], night=columns.night[none],
            visit_number=columns.visit_number[none], call_index=columns.call_index[none],
            heard=columns.heard[none],
            covariates={name: values[none] for name, values in columns.covariates.items()},
        ),
        day=periods.day[none],
        in_season=periods.in_season[none],
    )  # fmt: skip
    result = analyze("x", nothing, site="stop", parts=Parts())
    assert result.years == ()
    for estimate in (result.trend.occupancy, result.turnover.equilibrium, result.phenology.shift):
        assert estimate.value is None
        assert estimate.flags


@pytest.mark.parametrize("site", ["stop", "route"])
def test_labels_and_the_order_of_rows_enter_no_number(site):
    """The tests rely on it where they share fits, and so does a publication that is checked from
    its tables, where routes and stops have codes instead of keys."""
    rng = np.random.default_rng(3)
    periods = simulate(rng, some_nature(rng), routes=6, years=3).periods
    columns = periods.columns
    rows = rng.permutation(len(periods.day))
    moved = replace(
        periods,
        columns=PeriodColumns(
            route=columns.route[rows] * 7 + 1000,
            stop=columns.stop[rows] * 3 + 20,
            season_year=columns.season_year[rows],
            night=columns.night[rows],
            visit_number=columns.visit_number[rows],
            call_index=columns.call_index[rows],
            heard=columns.heard[rows],
            covariates={name: values[rows] for name, values in columns.covariates.items()},
        ),
        day=periods.day[rows],
        in_season=periods.in_season[rows],
        stops={
            name: {stop * 3 + 20: value for stop, value in values.items()}
            for name, values in periods.stops.items()
        },
    )
    assert as_bytes(in_order(moved)) == as_bytes(in_order(periods))
    assert as_bytes(moved) != as_bytes(periods)
    first, second = (
        to_json(analyze("x", each, site=site, parts=Parts())) for each in (periods, moved)
    )
    assert_alike(first, second)


def assert_alike(first, second, where=""):
    if isinstance(first, dict):
        assert first.keys() == second.keys(), where
        for name in first:
            assert_alike(first[name], second[name], f"{where}.{name}")
    elif isinstance(first, list):
        assert len(first) == len(second), where
        for at, (one, other) in enumerate(zip(first, second, strict=True)):
            assert_alike(one, other, f"{where}[{at}]")
    elif isinstance(first, float):
        assert second == pytest.approx(first, rel=1e-6, abs=1e-8), where
    else:
        assert first == second, where


def test_a_fit_of_another_process_of_the_run_is_not_made_again(tmp_path, monkeypatch):
    rng = np.random.default_rng(5)
    periods = simulate(rng, some_nature(rng), routes=3, years=2).periods
    least = Parts(**dict.fromkeys(vars(Parts()), False))
    made = []

    def counted(species, periods, **options):
        made.append(species)
        return analyze(species, periods, **options)

    def in_a_new_process(species, folder):
        monkeypatch.setattr(fits, "_made", {})
        return once(counted, folder)(species, periods, site="stop", parts=least)

    (tmp_path / "later").mkdir()
    first, second = (in_a_new_process("x", tmp_path) for _ in range(2))
    assert made == ["x"]
    assert to_json(first) == to_json(second)
    in_a_new_process("y", tmp_path)
    in_a_new_process("x", tmp_path / "later")
    assert made == ["x", "y", "x"]
