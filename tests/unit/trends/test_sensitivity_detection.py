"""The trend when the ear is wrong, or sites differ in how well they are heard."""

import numpy as np
import pytest
from scipy.special import expit

from surveys.trends import estimates
from surveys.trends.histories import Histories
from surveys.trends.model_selection import choose_trend
from surveys.trends.models.false_positive import fit_false_positive
from surveys.trends.models.year_trend import summarize_year_trend
from surveys.trends.sensitivity_detection import (
    SensitivityLine,
    confirmed_detections_line,
    detection_lines,
    false_detections_line,
    false_rate,
)
from surveys.trends.told_trend import chosen_year_trend

YEARS = 10


def program(rng, *, start=0.6, fall=0.0, false=0.0, p=0.5, sure=0.0, routes=30, spread=0.0):
    """Ten stops a route, three visits a year; occupancy falls by so many percent a year."""
    sites = routes * 10
    psi = start * (1 - fall / 100) ** np.arange(YEARS)
    luck = rng.random((sites, YEARS))
    occupied = (luck < psi)[:, :, None]
    logit_p = np.log(p / (1 - p)) + spread * np.where(rng.random(sites) < 0.5, 1, -1)
    chance = np.where(occupied, expit(logit_p)[:, None, None], false)
    heard = rng.random((sites, YEARS, 3)) < chance
    certain = heard & occupied & (rng.random(heard.shape) < sure)
    rows = np.arange(sites * YEARS)
    history = heard.reshape(-1, 3).astype(float)
    return Histories(
        site=rows // YEARS,
        cluster=rows // YEARS // 10,
        season_year=2015 + rows % YEARS,
        detected=history,
        call_index=history,
        night=np.full(history.shape, np.nan),
        certain=certain.reshape(-1, 3) if sure else None,
    )


def told(histories):
    choice = choose_trend(histories, {}, {})
    return choice, summarize_year_trend(chosen_year_trend(histories, {}, choice)).occupancy


def test_false_detections_hide_a_fall_and_the_line_brings_it_back():
    """A species that falls by 12 % a year from 40 % of the stops, where a visit to an empty stop
    hears it with 2 %: the plain trend is too flat, the line with the right share is not."""
    histories = program(np.random.default_rng(1), start=0.4, fall=12.0, false=0.02, routes=60)
    choice, plain = told(histories)
    assert plain.low > -12.0
    detections = np.nansum(histories.detected)
    false = 0.02 * histories.detected.size * 0.75 / detections
    line = false_detections_line(histories, {}, choice, share=float(false))
    assert line.change.low < -12.0 < line.change.high
    assert line.verdict == "fell"


def test_confirmed_calls_tell_how_many_are_false():
    histories = program(
        np.random.default_rng(2), start=0.4, fall=12.0, false=0.02, routes=60, sure=0.3
    )
    choice, plain = told(histories)
    line = confirmed_detections_line(histories, {}, choice)
    assert line.change.low < -12.0 < line.change.high
    assert line.change.value < plain.value - 2


def test_without_confirmed_calls_it_is_not_identified():
    histories = program(np.random.default_rng(3))
    line = confirmed_detections_line(histories, {}, told(histories)[0])
    assert line.verdict == "cannot be said"
    assert (line.change.value, line.change.low, line.change.high) == (None, None, None)
    assert line.change.flags == (estimates.NOT_IDENTIFIED,)


def test_a_few_confirmed_calls_are_too_few():
    histories = program(np.random.default_rng(3), sure=0.004)
    assert 0 < histories.certain.sum() < 20
    line = confirmed_detections_line(histories, {}, told(histories)[0])
    assert line.change.value is None
    assert line.change.flags == (estimates.TOO_FEW_DATA,)


def test_lines_without_a_change_show_none():
    histories = program(np.random.default_rng(4), spread=1.5, sure=0.2)
    choice, plain = told(histories)
    lines = detection_lines(histories, {}, choice)
    assert [line.label for line in lines] == [
        "5% of detections false",
        "false detections as confirmed calls tell",
        "two classes of sites",
        "heard better where more call",
    ]
    for line in lines:
        assert line.change.low < 0 < line.change.high
        assert line.verdict == "no clear change"
        assert line.change.high - line.change.low < 3 * (plain.high - plain.low)


def test_the_rate_makes_that_share_of_detections_false():
    """By a second fit: at the rate that was found, detections expected at empty sites are 5 % of
    all, under the model of Miller et al. 2011 with that rate."""
    histories = program(np.random.default_rng(5), start=0.5, false=0.03, sure=0.3)
    fit = choose_trend(histories, {}, {}).trend.fit
    rate = false_rate(fit, 0.05)
    by_certain = fit_false_positive(histories.detected, histories.certain).fitted
    psi, _, false, _ = expit(by_certain.coefficients)
    share = false * (1 - psi) * histories.detected.size / np.nansum(histories.detected)
    assert false_rate(fit, float(share)) == pytest.approx(false, rel=0.05)
    assert rate == pytest.approx(0.05 / share * false, rel=0.1)


@pytest.mark.parametrize(
    ("low", "high", "verdict"),
    [(-3.0, -0.1, "fell"), (0.1, 4.0, "rose"), (-1.0, 1.0, "no clear change")],
)
def test_verdict_is_what_the_interval_says(low, high, verdict):
    change = estimates.Estimate(
        name="x", value=(low + high) / 2, low=low, high=high, interval="", method=""
    )
    assert SensitivityLine(label="x", change=change).verdict == verdict
