"""Fits and publications from before named flags, choices and models in words."""

import importlib
import pkgutil
import re

import pytest

import surveys.trends
from surveys.charts.method_words import INTERVALS, METHOD_CODES, METHODS, method_in_words
from surveys.charts.model_words import MODEL_CODES
from surveys.charts.sensitivity import check_rows
from surveys.charts.words import flags_in_words
from surveys.publishing.method import method_text
from surveys.trends.choices import CHOICES
from surveys.trends.estimates import (
    DETECTION_BORROWED,
    FEW_CLUSTERS,
    FLAGS,
    LEVEL_NOT_KNOWN,
    NO_EFFORT,
    NOT_CLEARLY_BETTER,
    NOT_IDENTIFIED,
)
from surveys.trends.former_codes import (
    _FORMER,
    _FORMER_METHODS,
    current_method,
    current_model,
    with_current_codes,
)
from surveys.trends.model_selection import DETECTION, OCCUPANCY
from surveys.trends.result_tables import result_from_rows

# Codes that were never stored as words.
LATER = {DETECTION_BORROWED, LEVEL_NOT_KNOWN, NOT_CLEARLY_BETTER}
CODE = re.compile(r"[a-z]+-[a-z-]+")
# As version 1 of a publication wrote them.
TREND = {
    "flags": "few independent sites",
    "method": (
        "delta method, clustered by site; yearly shares of the strata by their weights "
        "(Cochran 1977, ch. 5)"
    ),
    "detection_model": "night of the season, its level free in each year",
    "occupancy_model": "the year alone",
}
YEAR = {
    "season_year": 2021,
    "sites": 3,
    "sites_heard": 0,
    "detection_model": "night and temperature",
    "flags": "nobody listened; not identified",
    "trend": None,
    "naive_trend": None,
    "whole": None,
}
LINES = [
    {"choice": choice, "change": -2.0, "change_low": -3.0, "change_high": -1.0, "flags": "",
     "routes": 9, "seasons": 7, "applies": True}
    for choice in ("all data", "good years may follow good years")
]  # fmt: skip


def estimators():
    for module in pkgutil.walk_packages(surveys.trends.__path__, "surveys.trends."):
        yield importlib.import_module(module.name)


def test_a_publication_from_before_is_read_as_one_of_today():
    result = result_from_rows([YEAR], TREND, {}, LINES)
    told = result.trend.occupancy
    assert told.flags == (FEW_CLUSTERS,)
    assert (told.interval, told.method) == ("delta+clustered-by-site", "weighted-strata")
    assert (result.trend.detection_model, result.trend.occupancy_model) == ("night+by-year", "year")
    assert result.years[0].occupancy.flags == (NO_EFFORT, NOT_IDENTIFIED)
    assert result.years[0].detection_model == "night-temperature"
    assert [row[0] for row in check_rows(result)] == [
        "all data", "good and bad years may come in runs"
    ]  # fmt: skip


def test_a_stored_fit_from_before_is_read_as_one_of_today():
    stored = {
        "years": [{"occupancy": {"flags": ["nobody listened"], "value": None}}],
        "trend": {
            "detection_model": "night and temperature",
            "detection_models": [
                {"name": "the same on every visit, sites of two classes", "aic": 3.0}
            ],
            "occupancy_models": [{"name": "year and how long water is held"}],
        },
        "sensitivity": [
            {"name": "by route instead of by stop", "change": {"flags": ["gap years"]}}
        ],
        "effects": [{"name": "all data", "interval": "Wilson", "method": "delta method"}],
    }  # fmt: skip
    today = with_current_codes(stored)
    assert today == {
        "years": [{"occupancy": {"flags": ["no-effort"], "value": None}}],
        "trend": {
            "detection_model": "night-temperature",
            "detection_models": [{"name": "constant+two-classes", "aic": 3.0}],
            "occupancy_models": [{"name": "year-water-held"}],
        },
        "sensitivity": [{"name": "by-route", "change": {"flags": ["gap-years"]}}],
        "effects": [{"name": "all data", "interval": "wilson", "method": "delta"}],
    }
    assert with_current_codes(today) == today


def test_every_code_has_words_of_its_own():
    assert {*_FORMER.values(), *LATER} == {*FLAGS, *CHOICES}
    assert {*DETECTION, *OCCUPANCY} < set(MODEL_CODES)
    for words in (*map(flags_in_words, ([flag] for flag in FLAGS)), *CHOICES.values()):
        assert not CODE.fullmatch(words), words
    for model in (*DETECTION, *OCCUPANCY):
        assert current_model(model) == model


@pytest.mark.parametrize(
    ("before", "code", "words"),
    [
        ("Wilson, 400 simulated programs", "wilson+programs:400",
         "Wilson interval, 400 simulated programs"),
        ("Wilson, 40 simulated surveys", "wilson+surveys:40",
         "Wilson interval, 40 simulated surveys"),
        ("bootstrap of routes, percentile, 400 samples", "route-bootstrap:400",
         "percentiles of 400 bootstrap samples of routes"),
        ("profile likelihood, 1.35 times as wide for poor fit (sqrt of c-hat)",
         "profile+widened:1.35",
         "profile likelihood, 1.35 times as wide for poor fit (square root of c-hat)"),
        ("delta method on the logit scale, clustered", "delta-logit+clustered",
         "delta method on the logit scale, errors by cluster"),
        ("a method of another program", "a method of another program",
         "a method of another program"),
    ],
)  # fmt: skip
def test_a_method_from_before_has_a_code_and_the_code_words(before, code, words):
    assert current_method(before) == current_method(code) == code
    assert method_in_words(code) == words


def test_every_method_and_interval_of_the_estimators_has_words():
    """The constants of the modules that estimate; what they put together stands in test_labels."""
    named = {
        value
        for module in estimators()
        for name, value in vars(module).items()
        if isinstance(value, str) and re.fullmatch(r"_?([A-Z]+_)*(METHOD|INTERVAL)", name)
    }
    assert len(named) > 20
    assert named - {*METHODS, *INTERVALS} == set()
    parts = {part for code in _FORMER_METHODS.values() for part in code.split("+")[1:]}
    assert {*(code.split("+")[0] for code in _FORMER_METHODS.values())} | {"none"} <= {
        *METHODS, *INTERVALS,
    }  # fmt: skip
    assert {f"+{part}" for part in parts} < set(METHOD_CODES)


def test_the_method_of_a_publication_explains_every_code():
    text = method_text(title="x", software="x", versions=(), visit_count=1, open_count=0)
    for code in (*FLAGS, *CHOICES, *MODEL_CODES, *METHOD_CODES):
        assert f"- {code}: " in text or f"- {code}:N: " in text, code
    assert "- +surveys:N: N simulated surveys" in text
    assert "{" not in text
