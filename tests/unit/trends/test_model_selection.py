"""The short lists of models, and what is told of the one chosen."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import t as student_t

from surveys.trends.criterion import penalty
from surveys.trends.effects import odds_ratios, silent_kinds
from surveys.trends.estimates import (
    DID_NOT_CONVERGE,
    EDGE_OF_RANGE,
    FEW_CLUSTERS,
    ONE_SIDED,
)
from surveys.trends.histories import Histories
from surveys.trends.model_selection import (
    BY_YEAR,
    CONSTANT,
    DETECTION,
    OCCUPANCY,
    SAME,
    WITHOUT_RAIN,
    carries,
    choose_trend,
    fill_with_mean,
    in_order_of_models,
    model_terms,
    nested_in,
    rarer_outcome,
)
from surveys.trends.models.occupancy import fit_occupancy
from surveys.trends.models.trend import fit_trend, summarize_trend, yearly_occupancy
from surveys.trends.numerics import optimize
from surveys.trends.numerics.arrays import BoolArray
from surveys.trends.site_covariates import EmptyKind, SiteCovariate

SITES, YEARS, VISITS = 200, 6, 3
NAN = float("nan")


def inverse_logit(x):
    return 1 / (1 + np.exp(-x))


def survey(seed=1, *, fish_effect=-1.5, warmth=0.8, dry=None):
    """Stops with fish or without; warm nights are better heard. `dry` stops are never occupied."""
    rng = np.random.default_rng(seed)
    fish = (np.arange(SITES) % 2).astype(float)
    year = np.tile(np.arange(2019, 2019 + YEARS), SITES)
    site = np.repeat(np.arange(SITES), YEARS)
    psi = inverse_logit(0.6 + fish_effect * fish[site] - 0.08 * (year - 2021.5))
    if dry is not None:
        psi = np.where(dry[site], 0.0, psi)
    air = rng.normal(size=(SITES * YEARS, VISITS))
    heard = rng.random(air.shape) < inverse_logit(0.1 + warmth * air)
    occupied = rng.random(len(psi)) < psi
    detected = (heard & occupied[:, None]).astype(float)
    histories = Histories(
        site=site,
        cluster=site // 5,
        season_year=year,
        detected=detected,
        call_index=detected,
        night=np.zeros_like(detected),
    )
    covariates = {
        "night": rng.normal(size=air.shape),
        "night squared": rng.normal(size=air.shape),
        "temperature": air,
    }
    return histories, covariates, fish[site]


def term(columns, empty=(), baseline="no"):
    return SiteCovariate(columns=columns, baseline=baseline, filled=0.0, empty=tuple(empty))


@pytest.fixture(scope="module")
def chosen():
    histories, covariates, fish = survey()
    noise = np.random.default_rng(5).normal(size=SITES)[histories.site]
    terms = {
        "fish": term({"fish: yes": fish}),
        "hydroperiod": term({"hydroperiod": noise}, baseline=""),
    }
    return histories, choose_trend(histories, covariates, terms)


class TestChoice:
    def test_finds_what_made_the_data(self, chosen):
        _, choice = chosen
        assert choice.detection == "night-temperature"
        assert choice.occupancy == "year-fish"
        assert [line.name for line in choice.occupancy_models] != []
        assert choice.occupancy_models[0].delta == 0

    def test_without_rain_the_water_level_is_tried_alone(self):
        histories, covariates, _ = survey()
        rng = np.random.default_rng(3)
        noise = rng.normal(size=(3, *histories.detected.shape))
        level = covariates["temperature"]
        covariates |= {"temperature": noise[0], "water": level}
        without = choose_trend(histories, covariates, {})
        assert without.detection == "night-temperature-level"
        with_rain = choose_trend(histories, covariates | {"rain": noise[1]}, {})
        tried = [{m.name for m in c.detection_models} for c in (without, with_rain)]
        assert tried[0] & {"night-temperature-level", "night-temperature-water"} == {
            "night-temperature-level"
        }
        assert tried[1] & {"night-temperature-level", "night-temperature-water"} == {
            "night-temperature-water"
        }

    def test_effects_are_odds_ratios_near_the_truth(self, chosen):
        found = {effect.name: effect for effect in odds_ratios(chosen[1])}
        assert sorted(found) == ["fish: yes", "temperature"]
        assert found["fish: yes"].baseline == "no"
        assert found["fish: yes"].odds.low < np.exp(-1.5) < found["fish: yes"].odds.high
        assert found["temperature"].odds.low < np.exp(0.8) < found["temperature"].odds.high

    def test_levels_of_years_have_no_odds_ratio(self, chosen):
        """Nor has the night of the season, which is a curve."""
        histories, choice = chosen
        fish = choice.site_covariates["fish"].columns
        trend = fit_trend(
            histories.detected,
            histories.season_year,
            histories.cluster,
            occupancy=fish,
            detection={"night": np.full_like(histories.detected, 0.5)},
            detection_by_year=True,
        )
        assert "year 2019" in trend.fit.p.names
        assert "night" in trend.fit.p.names
        effects = odds_ratios(replace(choice, trend=trend))
        assert [(effect.part, effect.name) for effect in effects] == [("occupancy", "fish: yes")]

    def test_odds_ratios_are_those_of_the_clustered_coefficients(self, chosen):
        _, choice = chosen
        fit = choice.trend.fit
        names = [*fit.psi.names, *fit.p.names]
        for effect in odds_ratios(choice, level=0.8):
            at = names.index(effect.name)
            slope, se = fit.coefficients[at], fit.clustered_covariance[at, at] ** 0.5
            half = student_t.ppf(0.9, fit.clusters - 1) * se
            assert effect.odds.value == pytest.approx(np.exp(slope))
            assert effect.odds.low == pytest.approx(np.exp(slope - half))
            assert effect.odds.high == pytest.approx(np.exp(slope + half))
            assert effect.odds.level == 0.8
            assert effect.odds.name == f"odds ratio, {effect.name}"

    def test_an_hour_and_a_centimeter_of_rain_are_the_steps(self, chosen):
        histories, choice = chosen
        rng = np.random.default_rng(8)
        minutes, rain = 100 * rng.random((2, *histories.detected.shape))
        trend = fit_trend(
            histories.detected,
            histories.season_year,
            histories.cluster,
            detection={"minutes after sunset": minutes, "rain": rain},
        )
        slopes = dict(zip(trend.fit.p.names, trend.fit.coefficients[2:], strict=True))
        found = {effect.name: effect for effect in odds_ratios(replace(choice, trend=trend))}
        for name, step in (("minutes after sunset", 60), ("rain", 10)):
            assert found[name].step == step
            assert found[name].odds.value == pytest.approx(np.exp(step * slopes[name]))
            assert found[name].baseline == ""

    def test_one_cluster_has_wald_limits_and_says_so(self, chosen):
        histories, choice = chosen
        trend = fit_trend(
            histories.detected,
            histories.season_year,
            np.zeros(len(histories.site), int),
            occupancy=choice.site_covariates["fish"].columns,
        )
        (fish,) = odds_ratios(replace(choice, trend=trend))
        assert FEW_CLUSTERS in fish.odds.flags
        assert fish.odds.low < np.exp(-1.5) < fish.odds.high

    def test_nothing_fitted_has_no_odds_ratios(self, chosen):
        histories, choice = chosen
        silent = fit_trend(
            np.zeros_like(histories.detected), histories.season_year, histories.cluster
        )
        assert odds_ratios(replace(choice, trend=silent)) == ()

    def test_yearly_occupancy_is_the_mean_over_the_sites(self, chosen):
        histories, choice = chosen
        heard_share = dict(yearly_occupancy(choice.trend))
        plain = dict(yearly_occupancy(fit_trend(
            histories.detected, histories.season_year, histories.cluster,
        )))  # fmt: skip
        for year, estimate in heard_share.items():
            # Not the share of the baseline class, which is 0.25 higher.
            assert estimate.value == pytest.approx(plain[year].value, abs=0.04)

    def test_of_few_sites_nothing_is_asked(self):
        histories, covariates, fish = survey()
        few = histories.site < 12
        small = Histories(
            site=histories.site[few],
            cluster=histories.cluster[few],
            season_year=histories.season_year[few],
            detected=histories.detected[few],
            call_index=histories.call_index[few],
            night=histories.night[few],
        )
        own = {name: values[few] for name, values in covariates.items()}
        choice = choose_trend(small, own, {"fish": term({"fish: yes": fish[few]})})
        assert (choice.occupancy, choice.occupancy_models) == (SAME, ())

    def test_no_repeat_visits(self):
        histories, covariates, _ = survey()
        once = replace(histories, detected=histories.detected[:, :1])
        choice = choose_trend(once, covariates, {})
        assert (choice.detection, choice.occupancy) == (CONSTANT, SAME)

    def test_what_sites_are_like_does_not_pass_for_what_nights_are_like(self):
        """Water tonight stands where the species lives: it tells of sites, not of nights."""
        histories, covariates, fish = survey(3, fish_effect=-2.5, warmth=0.0)
        covariates["rain"] = covariates["night"]
        rng = np.random.default_rng(2)
        covariates["water"] = (fish == 0)[:, None] + 0.1 * rng.normal(size=(len(fish), VISITS))
        choice = choose_trend(histories, covariates, {"fish": term({"fish: yes": fish})})
        assert choice.occupancy == "year-fish"
        assert "water" not in choice.detection


@pytest.fixture(scope="module")
def dry():
    mark = np.arange(SITES) % 4 == 0
    histories, covariates, _ = survey(4, fish_effect=0.0, dry=mark)
    rows: BoolArray = mark[histories.site]
    kind = EmptyKind(name="fish: yes", sites=int(mark.sum()), rows=rows)
    return histories, choose_trend(histories, covariates, {"fish": term({}, [kind])})


class TestEmptyKinds:
    def test_they_stay_in_the_shares(self, dry):
        _, choice = dry
        assert choice.occupancy == "year-fish"
        assert choice.trend.fitted_share == pytest.approx(0.75)
        truth = 0.75 * inverse_logit(0.6 - 0.08 * (np.arange(2019, 2025) - 2021.5))
        for (_, estimate), share in zip(yearly_occupancy(choice.trend), truth, strict=True):
            assert estimate.low < share < estimate.high

    def test_the_fit_is_the_limit_of_a_column(self, dry):
        """A column of its own runs to minus infinity; the log-likelihood tends to this one."""
        histories, choice = dry
        empty = choice.empty[0].rows.astype(float)
        column = fit_trend(
            histories.detected, histories.season_year, histories.cluster,
            occupancy={"kind": empty},
        )  # fmt: skip
        left_out = fit_trend(
            histories.detected, histories.season_year, histories.cluster, empty=empty > 0
        )
        assert left_out.fit.log_likelihood == pytest.approx(column.fit.log_likelihood, abs=1e-3)
        own, limit = (summarize_trend(trend).log_odds for trend in (left_out, column))
        assert own.value == pytest.approx(limit.value, abs=1e-4)

    def test_a_bound_for_what_was_missed(self, dry):
        histories, choice = dry
        (kind,) = silent_kinds(choice, histories)
        assert (kind.occupancy.value, kind.occupancy.low) == (0, 0)
        assert kind.occupancy.flags == (EDGE_OF_RANGE, ONE_SIDED)
        # In six seasons of three visits an occupied site is all but certainly heard: 3 / sites, a
        # site counting once.
        sites = len(np.unique(histories.site[choice.empty[0].rows]))
        assert kind.occupancy.high == pytest.approx(1 - 0.05 ** (1 / sites), rel=1e-3)
        routes = len(np.unique(histories.cluster[choice.empty[0].rows]))
        assert kind.by_route.high == pytest.approx(1 - 0.05 ** (1 / routes), rel=1e-3)

    def test_few_silent_visits_bound_nothing(self, dry):
        """One site, listened to three times: silence is likely at any share of such sites."""
        histories, choice = dry
        rows = np.zeros(len(histories.site), dtype=bool)
        rows[0] = True
        for kept, high in ((rows, 1.0), (np.zeros_like(rows), 1.0)):
            kind = EmptyKind(name="fish: yes", sites=1, rows=kept)
            fish = term({}, [kind])
            one = replace(choice, site_covariates={"fish": fish})
            visits = np.where(rows[:, None] & (np.arange(VISITS) > 0), np.nan, histories.detected)
            (bound,) = silent_kinds(one, replace(histories, detected=visits))
            assert (bound.occupancy.value, bound.occupancy.high) == (0, high)

    def test_detection_is_the_mean_over_the_visits_that_were_made(self, dry):
        """Warm visits hear more; visits left out are not in the mean."""
        histories, choice = dry
        rng = np.random.default_rng(9)
        air = rng.normal(size=histories.detected.shape)
        made = np.where(rng.random(air.shape) < 0.3 * (air > 0), np.nan, histories.detected)
        empty = choice.empty[0].rows
        trend = fit_trend(
            made, histories.season_year, histories.cluster, detection={"air": air}, empty=empty
        )
        fit = trend.fit
        p = inverse_logit(fit.p.matrix @ fit.coefficients[len(fit.psi.names) :])
        mean = p[~np.isnan(fit.history)].mean()
        # One visit to each site of the kind: silence at all of them has a chance of one in ten.
        later = (histories.season_year > 2019)[:, None] | (np.arange(VISITS) > 0)
        once = replace(histories, detected=np.where(empty[:, None] & later, NAN, made * 0))
        (kind,) = silent_kinds(replace(choice, trend=trend), once, level=0.9)
        visits = np.bincount(histories.site[empty], (~np.isnan(once.detected[empty])).sum(axis=1))
        silence = (1 - kind.occupancy.high * mean) ** visits.sum()
        assert silence == pytest.approx(0.1, rel=1e-6)

    def test_every_kind_of_site_never_heard_is_left_out(self, dry):
        histories, _ = dry
        first, second = (np.arange(SITES)[histories.site] == site for site in (0, 4))
        kinds = [
            term({}, [EmptyKind(name=str(rows), sites=1, rows=rows)]) for rows in (first, second)
        ]
        together = term({}, [*kinds[0].empty, *kinds[1].empty])
        for covariates in (kinds, kinds[::-1], [together]):
            terms = model_terms(histories, {}, CONSTANT, covariates)
            np.testing.assert_array_equal(terms["empty"], first | second)
        assert model_terms(histories, {}, CONSTANT, [])["empty"] is None

    def test_a_mark_where_it_was_heard_is_refused(self, dry):
        histories, _ = dry
        with pytest.raises(ValueError, match=r"^empty: .* none where the species was heard$"):
            fit_trend(
                histories.detected, histories.season_year, histories.cluster,
                empty=np.ones(len(histories.site), dtype=bool),
            )  # fmt: skip


def test_models_whose_search_was_cut_short_have_no_place(monkeypatch):
    monkeypatch.setattr(optimize, "_MOST_ITERATIONS", 1)
    histories, covariates, _ = survey()
    choice = choose_trend(histories, covariates, {})
    assert len(choice.detection_models) == 6
    for model in choice.detection_models:
        assert model.delta is None
        assert DID_NOT_CONVERGE in model.flags
    # The simplest, in the order of the list.
    assert choice.detection == CONSTANT == choice.detection_models[0].name


class TestFilling:
    def filled(self, values, detected):
        values, detected = np.array(values), np.array(detected, dtype=float)
        rows = np.arange(len(values))
        return fill_with_mean(
            Histories(
                site=rows, cluster=rows, season_year=rows, detected=detected,
                call_index=detected, night=detected, visit_covariates={"air": values},
            )
        )  # fmt: skip

    def test_the_mean_of_the_visits_stands_for_what_is_missing(self):
        values = [[10.0, 12], [14, 16], [NAN, 18]]
        filled, shares = self.filled(values, np.zeros((3, 2)))
        np.testing.assert_array_equal(filled["air"], [[10, 12], [14, 16], [14, 18]])
        assert shares == {"air": pytest.approx(1 / 6)}

    def test_visits_that_did_not_happen_are_neither_missing_nor_in_the_mean(self):
        values = [[10.0, 12], [14, NAN], [16, 99]]
        filled, shares = self.filled(values, [[0, 1], [0, NAN], [1, NAN]])
        np.testing.assert_array_equal(filled["air"][:, 0], [10, 14, 16])
        assert shares == {}

    @pytest.mark.parametrize(("missing", "used"), [(0, True), (2, True), (3, False)])
    def test_what_is_missing_too_often_is_not_used(self, missing, used):
        """A fifth may be missing: 2 of 10 visits, not 3."""
        values = np.arange(10.0)
        values[:missing] = NAN
        filled, shares = self.filled(values.reshape(5, 2), np.zeros((5, 2)))
        assert ("air" in filled) is used
        assert shares == ({"air": missing / 10} if missing and used else {})

    @pytest.mark.parametrize("values", [[[5.0, 5]], [[NAN, NAN]]])
    def test_what_does_not_vary_is_not_used(self, values):
        assert self.filled(values, [[0, 1]]) == ({}, {})


def test_dependent_rows_weigh_more():
    rng = np.random.default_rng(6)
    history = (rng.random((100, 3)) < 0.5 * (rng.random(100) < 0.6)[:, None]).astype(float)
    alone = fit_occupancy(history, clusters=np.arange(100))
    fourfold = fit_occupancy(np.tile(history, (4, 1)), clusters=np.tile(np.arange(100), 4))
    assert penalty(alone) == pytest.approx(2, rel=0.3)
    assert penalty(fourfold) == pytest.approx(4 * penalty(alone), rel=1e-6)
    assert penalty(fit_occupancy(history)) == 0


def test_the_short_lists():
    """Names are shown beside the trend; covariates are those of `load_periods`."""
    season = ("night", "night squared")
    air = ("minutes after sunset", "wind", "noise")
    assert dict(DETECTION) == {
        "constant": (),
        "night": season,
        "night-temperature": (*season, "temperature"),
        "night-temperature-level": (*season, "temperature", "water"),
        "night-temperature-water": (*season, "temperature", "rain", "water"),
        "night-temperature-air": (*season, "temperature", *air),
        "night-temperature-level-air": (*season, "temperature", "water", *air),
        "night-temperature-water-air": (
            *season, "temperature", "rain", "water", *air,
        ),
    }  # fmt: skip
    assert dict(OCCUPANCY) == {
        "year": (),
        "year-water-held": ("hydroperiod",),
        "year-fish": ("fish",),
        "year-water-held-fish": ("hydroperiod", "fish"),
        "year-habitat": ("habitat",),
    }


def test_most_models_use_the_first_covariates():
    covariates = {name: np.zeros((1, 1)) for name in ("wind", "fog", *list(DETECTION.values())[-1])}
    ordered = list(in_order_of_models(covariates))
    assert sorted(ordered) == sorted(covariates)
    assert ordered[-1] == "fog"
    first = [name for name, needed in DETECTION.items() if list(needed) == ordered[: len(needed)]]
    assert set(DETECTION) - set(first) == {"night-temperature-air", *WITHOUT_RAIN}


def test_nested_models():
    full = list(DETECTION)[-1]
    assert nested_in(full + BY_YEAR) == tuple(DETECTION)
    assert nested_in("night-temperature") == tuple(list(DETECTION)[:3])
    assert "night-temperature-water" not in nested_in("night-temperature-air")
    assert next(iter(OCCUPANCY)) == SAME


@pytest.mark.parametrize(
    ("rarer", "columns", "enough"), [(30, 3, True), (29, 3, False), (0, 0, True)]
)
def test_carries(rarer, columns, enough):
    assert carries(rarer, columns) is enough


def test_rarer_outcome_counts_misses_only_where_it_was_heard():
    assert rarer_outcome(np.array([[1, 1, 0], [0, 0, 0], [1, np.nan, 1]])) == 1
    assert rarer_outcome(np.zeros((4, 2))) == 0
