"""Unequal detection takes part in the contest of models, and wins only where sites differ."""

import numpy as np
import pytest

from surveys.trends import unequal_contest
from surveys.trends.histories import Histories
from surveys.trends.model_selection import (
    BY_YEAR,
    CONSTANT,
    choose_trend,
    detection_covariates,
    level_model,
    without_unequal,
)
from surveys.trends.models.level_models import by_abundance, equal_detection, in_two_classes
from surveys.trends.models.year_trend import summarize_year_trend
from surveys.trends.told_trend import chosen_year_trend
from surveys.trends.unequal_contest import UNEQUAL

CLASSES, ABUNDANCE = UNEQUAL


def program(rng, chance, *, routes=20, years=8, visits=4):
    """Sites of 60 % occupancy each year; ``chance(rng, (sites, years))`` of hearing it, 0 where it
    is not."""
    sites = routes * 10
    p = chance(rng, (sites, years))
    heard = rng.random((sites, years, visits)) < p[:, :, None]
    rows = np.arange(sites * years)
    history = heard.reshape(-1, visits).astype(float)
    return Histories(
        site=rows // years,
        cluster=rows // years // 10,
        season_year=2015 + rows % years,
        detected=history,
        call_index=history,
        night=np.full(history.shape, np.nan),
    )


def equal(rng, shape):
    return (rng.random(shape) < 0.6) * 0.5


def of_two_classes(rng, shape):
    return (rng.random(shape) < 0.6) * np.where(rng.random(shape) < 0.5, 0.8, 0.25)


def by_number(rng, shape):
    return 1 - 0.75 ** rng.poisson(-np.log(0.4), shape)


def test_equal_sites_are_told_as_equal():
    chosen = [
        choose_trend(program(np.random.default_rng(seed), equal), {}, {}).detection
        for seed in range(10)
    ]
    assert sum(name == without_unequal(name) for name in chosen) >= 9


@pytest.mark.parametrize(("chance", "suffix"), [(of_two_classes, CLASSES), (by_number, ABUNDANCE)])
def test_what_made_the_data_wins(chance, suffix):
    histories = program(np.random.default_rng(2), chance, visits=6)
    choice = choose_trend(histories, {}, {})
    assert choice.detection == CONSTANT + suffix
    best = choice.detection_models[0]
    assert (best.name, best.delta) == (CONSTANT + suffix, 0.0)
    assert {model.name for model in choice.detection_models} >= {
        CONSTANT,
        CONSTANT + CLASSES,
        CONSTANT + ABUNDANCE,
    }
    trend = chosen_year_trend(histories, {}, choice)
    levels = 1 / (1 + np.exp(-trend.levels.levels))
    assert levels.mean() == pytest.approx(0.6, abs=0.05)
    change = summarize_year_trend(trend).occupancy
    assert change.low < 0 < change.high


def test_with_two_visits_sites_cannot_be_told_apart():
    histories = program(np.random.default_rng(3), of_two_classes, visits=2)
    choice = choose_trend(histories, {}, {})
    assert {model.name for model in choice.detection_models} == {CONSTANT, CONSTANT + BY_YEAR}


def test_they_are_left_out_where_they_would_take_too_long(monkeypatch):
    histories = program(np.random.default_rng(2), of_two_classes, visits=6)
    monkeypatch.setattr(unequal_contest, "MOST_FOR_UNEQUAL", 5)
    choice = choose_trend(histories, {}, {})
    assert choice.detection == without_unequal(choice.detection)
    assert {model.name for model in choice.detection_models} == {CONSTANT, CONSTANT + BY_YEAR}


def test_names_lead_to_covariates_and_forms():
    name = "night-temperature" + BY_YEAR + CLASSES
    assert without_unequal(name) == "night-temperature" + BY_YEAR
    assert detection_covariates(name) == ("night", "night squared", "temperature")
    assert level_model(name) is in_two_classes
    assert level_model(CONSTANT + ABUNDANCE) is by_abundance
    assert level_model(CONSTANT + BY_YEAR) is equal_detection
