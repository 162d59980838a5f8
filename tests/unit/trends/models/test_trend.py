"""Trend of occupancy over season years."""

import numpy as np
import pytest

from surveys.trends import estimates
from surveys.trends.models import occupancy, occupancy_blocks
from surveys.trends.models.occupancy import fit_occupancy, fit_occupancy_designs
from surveys.trends.models.occupancy_estimates import occupancy_share
from surveys.trends.models.trend import (
    _derived,
    fit_trend,
    summarize_trend,
    yearly_occupancy,
)
from surveys.trends.numerics.design import Design, join
from tests.unit.trends.simulated import persistent_seasons

NAN = float("nan")
YEARS = np.arange(12)
FALLING = 1 / (1 + np.exp(-(0.4 - 0.1 * (YEARS - 5.5))))


@pytest.fixture(scope="module")
def survey():
    return persistent_seasons(np.random.default_rng(8), sites=150, psi=FALLING, p=0.5, visits=3)


@pytest.fixture(scope="module")
def trend(survey):
    return fit_trend(*survey)


class TestLinear:
    def test_slope_is_recovered(self, trend):
        slope = summarize_trend(trend).log_odds
        assert slope.low < -0.1 < slope.high
        assert slope.flags == ()

    def test_scales_belong_together(self, trend):
        summary = summarize_trend(trend)
        assert summary.odds.value == pytest.approx(100 * np.expm1(summary.log_odds.value))
        (first, start), *_, (last, end) = yearly_occupancy(trend)
        assert summary.points.value == pytest.approx(
            100 * (end.value - start.value) / (last - first)
        )
        assert (1 + summary.occupancy.value / 100) ** (last - first) == pytest.approx(
            end.value / start.value
        )

    def test_every_scale_is_named_and_ordered(self, trend):
        summary = summarize_trend(trend)
        for estimate in (summary.log_odds, summary.odds, summary.occupancy, summary.points):
            assert estimate.low < estimate.value < estimate.high
            assert "year" in estimate.name

    def test_persistent_sites_need_wider_intervals(self, trend):
        clustered = summarize_trend(trend).log_odds.se
        assert clustered > 1.2 * summarize_trend(trend, interval="wald").log_odds.se

    def test_bootstrap_agrees_with_the_sandwich(self, trend, survey):
        """Whole sites are drawn anew, each draw a site of its own, and the trend is refitted."""
        history, year, site = survey
        rng, slopes = np.random.default_rng(4), []
        for _ in range(100):
            drawn = rng.integers(0, 150, 150)
            rows = np.concatenate([np.flatnonzero(site == number) for number in drawn])
            copies = np.repeat(np.arange(150), len(YEARS))
            again = fit_trend(history[rows], year[rows], copies)
            slopes.append(summarize_trend(again).log_odds.value)
        slope = summarize_trend(trend).log_odds
        assert np.std(slopes, ddof=1) == pytest.approx(slope.se, rel=0.2)

    def test_yearly_occupancy_falls(self, trend):
        shares = [share.value for _, share in yearly_occupancy(trend)]
        assert shares == sorted(shares, reverse=True)

    def test_covariates_are_averaged_over(self, survey):
        history, year, site = survey
        fish = (site % 2).astype(float)
        found = fit_trend(history, year, site, occupancy={"fish": fish})
        share = dict(yearly_occupancy(found))[2001]
        assert share.low < FALLING[0] < share.high
        assert summarize_trend(found).occupancy.value < 0


class TestFactor:
    def test_year_with_its_own_detection_is_a_fit_of_its_own(self, survey):
        history, year, site = survey
        both = fit_trend(history, year, site, form="factor", detection_by_year=True)
        alone = occupancy_share(fit_occupancy(history[year == 2004]))
        share = dict(yearly_occupancy(both, interval="profile"))[2004]
        assert share.value == pytest.approx(alone.value, rel=1e-5)
        assert share.low == pytest.approx(alone.low, rel=1e-3)

    def test_covariate_beside_a_factor_year(self, survey):
        history, year, site = survey
        fish = (site % 2).astype(float)
        found = fit_trend(history, year, site, form="factor", occupancy={"fish": fish})
        assert dict(yearly_occupancy(found))[2001].value == pytest.approx(FALLING[0], abs=0.15)

    def test_has_no_slope(self, survey):
        found = fit_trend(*survey, form="factor")
        with pytest.raises(ValueError, match="no slope"):
            summarize_trend(found)

    def test_silent_year_is_zero_with_an_upper_bound(self, survey):
        history, year, site = survey
        quiet = np.where((year == 2003)[:, None], 0.0, history)
        share = dict(yearly_occupancy(fit_trend(quiet, year, site, form="factor")))[2003]
        assert (share.value, share.low) == (0.0, 0.0)
        assert 0 < share.high < 0.1
        assert estimates.EDGE_OF_RANGE in share.flags

    def test_silent_year_with_its_own_detection_says_nothing(self, survey):
        history, year, site = survey
        quiet = np.where((year == 2003)[:, None], 0.0, history)
        found = fit_trend(quiet, year, site, form="factor", detection_by_year=True)
        share = dict(yearly_occupancy(found))[2003]
        assert share.low in (None, 0.0)
        assert share.high in (None, 1.0)

    def test_year_without_listening_has_no_row(self, survey):
        history, year, site = survey
        gap = np.where((year == 2003)[:, None], NAN, history)
        found = fit_trend(gap, year, site, form="factor")
        assert 2003 not in dict(yearly_occupancy(found))
        assert found.fit.flags == ()


class TestWeakData:
    def test_one_year_has_no_trend(self, survey):
        history, year, site = survey
        one = year == 2001
        summary = summarize_trend(fit_trend(history[one], year[one], site[one]))
        assert summary.log_odds.value is None
        assert summary.occupancy.value is None
        assert estimates.NOT_IDENTIFIED in summary.log_odds.flags

    def test_two_years_have_one_and_it_is_flagged(self, survey):
        history, year, site = survey
        two = year < 2003
        trend = fit_trend(history[two], year[two], site[two])
        summary = summarize_trend(trend)
        first, last = (share.value for _, share in yearly_occupancy(trend))
        assert summary.points.value == pytest.approx(100 * (last - first))
        assert summary.occupancy.value == pytest.approx(100 * (last / first - 1))
        assert summary.points.flags == (estimates.TOO_FEW_DATA,)

    def test_few_years_are_flagged(self, survey):
        history, year, site = survey
        few = year < 2005
        flags = summarize_trend(fit_trend(history[few], year[few], site[few])).odds.flags
        assert estimates.TOO_FEW_DATA in flags

    def test_one_cluster_falls_back_and_says_so(self, survey):
        history, year, site = survey
        found = fit_trend(history, year, np.zeros_like(site))
        assert estimates.FEW_CLUSTERS in summarize_trend(found).log_odds.flags

    def test_never_heard(self, survey):
        history, year, site = survey
        found = fit_trend(np.zeros_like(history), year, site)
        assert summarize_trend(found).points.value is None
        assert all(share.value is None for _, share in yearly_occupancy(found))

    def test_a_number_beyond_all_bounds_is_none(self, survey):
        trend = fit_trend(*survey)
        change = _derived(trend, lambda theta: (np.inf, np.zeros_like(theta)), 0.95, "wald", ())
        assert (change.value, change.low, change.se) == (None, None, None)
        assert change.flags == (estimates.EDGE_OF_RANGE,)

    def test_no_rows(self):
        found = fit_trend(np.zeros((0, 0)), np.zeros(0, int), np.zeros(0, int))
        assert yearly_occupancy(found) == ()
        assert summarize_trend(found).odds.value is None

    def test_every_row_without_its_covariate(self, survey):
        history, year, site = survey
        found = fit_trend(history, year, site, occupancy={"fish": np.full(len(year), NAN)})
        assert all(share.value is None for _, share in yearly_occupancy(found))

    def test_full_everywhere_has_no_percent(self):
        rng = np.random.default_rng(2)
        survey = persistent_seasons(rng, sites=30, psi=np.ones(6), p=0.9, visits=3)
        summary = summarize_trend(fit_trend(*survey))
        assert summary.occupancy.value is None
        assert estimates.EDGE_OF_RANGE in summary.occupancy.flags


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"season_years": [2001.0, 2002.0]}, "whole years"),
        ({"season_years": [2001]}, "whole years"),
        ({"form": "spline"}, "form"),
        ({"clusters": [1]}, "clusters: expected 2 labels"),
        ({"empty": [True, False]}, "none where the species was heard"),
        ({"empty": [True]}, "one mark a row"),
    ],
)
def test_wrong_input_is_refused(changes, words):
    good = {"detections": [[0, 1], [1, 1]], "season_years": [2001, 2002], "clusters": [1, 1]}
    with pytest.raises(ValueError, match=words):
        fit_trend(**(good | changes))


def test_seasons_that_are_all_alike_give_flags_without_a_warning():
    """Clusters that leave no scores have a variance of nothing, which rounding may put below 0."""
    history = np.tile([[1.0, 0.0], [1.0, 1.0], [0.0, 1.0], [0.0, 0.0]], (6, 1))
    years = np.repeat(np.arange(2022, 2025), 8)
    clusters = np.tile(np.repeat(["A", "B"], 4), 3)
    night = np.where((years == 2024)[:, None], [[-1.4, 1.6]], [[-1.5, 1.5]])
    trend = fit_trend(
        history,
        years,
        clusters,
        detection={"night": night, "night squared": night**2},
        detection_by_year=True,
    )
    assert estimates.FEW_CLUSTERS in summarize_trend(trend).log_odds.flags


class TestDetectionByYear:
    """A level of detection for each year has no columns in the design."""

    @pytest.fixture
    def covariates(self, survey):
        rng = np.random.default_rng(9)
        return {"air": rng.normal(size=survey[0].shape), "wind": rng.normal(size=survey[0].shape)}

    @pytest.mark.parametrize("by_visit", [False, True])
    @pytest.mark.parametrize("numbers", [100, occupancy_blocks.MOST_NUMBERS])
    def test_it_is_a_column_of_ones_for_each_year(
        self, survey, covariates, by_visit, numbers, monkeypatch
    ):
        monkeypatch.setattr(occupancy_blocks, "MOST_NUMBERS", numbers)
        history, year, site = survey
        detection = covariates if by_visit else {}
        trend = fit_trend(history, year, site, detection=detection, detection_by_year=True).fit
        columns = (year[:, None] == np.unique(year)) * 1.0
        names = tuple(f"year {label}" for label in np.unique(year))
        p = join(
            Design(names=names, matrix=columns),
            *(
                Design(names=(name,), matrix=values[:, :, None])
                for name, values in detection.items()
            ),
        )
        full = fit_occupancy_designs(history, psi=trend.psi, p=p, clusters=site)
        assert trend.p.names == full.p.names
        assert trend.log_likelihood == pytest.approx(full.log_likelihood, abs=1e-8)
        np.testing.assert_allclose(trend.coefficients, full.coefficients, atol=1e-5)
        np.testing.assert_allclose(
            trend.clustered_covariance, full.clustered_covariance, rtol=1e-3, atol=1e-7
        )

    def test_a_near_start_changes_nothing(self, survey, covariates, monkeypatch):
        monkeypatch.setattr(occupancy, "MOST_NUMBERS", 100)
        constant = fit_trend(*survey, detection={"air": covariates["air"]})
        for more in ({}, {"detection_by_year": True}):
            afresh = fit_trend(*survey, detection=covariates, **more).fit
            near = fit_trend(*survey, detection=covariates, **more, like=constant).fit
            assert near.maximum.iterations < afresh.maximum.iterations
            np.testing.assert_allclose(near.coefficients, afresh.coefficients, atol=1e-5)
