"""Results as JSON, and back unchanged."""

import datetime as dt
import json

import numpy as np
import pytest

from surveys.fitting.results import UnreadableResultError, from_json, to_json
from surveys.trends import Estimate, PowerCell, SpeciesResult, SpeciesYear, SurveyPlan, Trend
from surveys.trends.species_result import Effort


def estimate(value, low=None, high=None, *flags, se=None):
    return Estimate(
        name="x", value=value, low=low, high=high, interval="i", method="m", flags=flags, se=se
    )


RESULT = SpeciesResult(
    years=(
        SpeciesYear(
            season_year=2023, sites=40, sites_heard=12, first_night=dt.date(2023, 4, 2),
            last_night=None, naive=estimate(0.3, 0.2, 0.4),
            occupancy=estimate(None, None, None, "a"),
            detection=estimate(1 / 3, 0.1, 0.9, "a", "b", se=0.1), detection_model="night",
            effort=Effort(routes=4, visits=12, periods=120), sites_heard_at=(5, 4, 3),
        ),
    ),
    trend=Trend(
        log_odds=estimate(-0.1), occupancy=estimate(-5.0), line=((2023, estimate(0.4)),),
        naive=estimate(-4.0), naive_line=(), detection_model="night", occupancy_model="year",
    ),
    filled=(("temperature", 0.03),),
)  # fmt: skip


def stored(value):
    return json.loads(json.dumps(to_json(value), allow_nan=False))


def test_result_comes_back_unchanged():
    assert from_json(SpeciesResult, stored(RESULT)) == RESULT


def test_power_comes_back_unchanged():
    plan = SurveyPlan(
        routes=20, stops_per_route=10, visits=3, years=8, occupancy=0.5, detection=0.4
    )
    cells = (PowerCell(routes=20, visits=3, chance=estimate(0.8, 0.7, 0.9)),)
    assert from_json(SurveyPlan, stored(plan)) == plan
    assert from_json(tuple[PowerCell, ...], stored(cells)) == cells


@pytest.mark.parametrize("number", [float("nan"), float("inf"), -np.inf, np.float64("nan")])
def test_numbers_that_json_does_not_know_become_null(number):
    assert stored(estimate(number))["value"] is None


@pytest.mark.parametrize(
    "change",
    [
        {"extra": 1},
        {"years": 3},
        {"years": [{"season_year": 2023}]},
        {"trend": None},
        {"filled": [["temperature"]]},
    ],
    ids=["extra field", "no list", "missing fields", "null", "short pair"],
)
def test_another_shape_is_unreadable(change):
    with pytest.raises(UnreadableResultError, match="no SpeciesResult"):
        from_json(SpeciesResult, stored(RESULT) | change)


@pytest.mark.parametrize("data", [None, [], "x", {}])
def test_what_is_no_object_is_unreadable(data):
    with pytest.raises(UnreadableResultError):
        from_json(SpeciesResult, data)


def test_plan_that_cannot_be_is_unreadable():
    plan = {
        "routes": 1,
        "stops_per_route": 1,
        "visits": 1,
        "years": 5,
        "occupancy": 1,
        "detection": 1,
    }
    with pytest.raises(UnreadableResultError):
        from_json(SurveyPlan, plan)
