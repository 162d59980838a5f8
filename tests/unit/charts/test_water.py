"""How calling goes with the water, in words."""

import dataclasses

import pytest

from surveys.charts.water import lag_sentence
from surveys.trends.water import WaterAndCalls
from tests.unit.charts.test_words import estimate, plain, result


@pytest.mark.parametrize(
    ("lag", "says"),
    [
        (estimate(None, 1.0, None), "at least 1 day (95%"),
        (estimate(None, 0.0, None), "chorus: unknown. Most stops had water at the first visit"),
        (estimate(None, 1.5, None), "at least 1.5 days (95%"),
        (estimate(1.0, 0.5, 1.5), "chorus: 1 day (95% interval: 0.5 to 1.5 days"),
        (estimate(11.0, 10.0, 12.0), "chorus: 11 days (95% interval: 10 to 12 days"),
    ],
)
def test_one_day_and_several(lag, says):
    water = WaterAndCalls(lag=lag, lags=12, routes=8, before=0, classes=())
    assert says in plain(lag_sentence(dataclasses.replace(result(estimate(0, -1, 1)), water=water)))
