"""Codes as fits and publications from before hold them: in the words that were shown then.

A publication never changes, so its tables are read by way of this list for ever.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

_FORMER = {
    "too few data": "too-few-data",
    "nobody listened": "no-effort",
    "never heard": "never-heard",
    "edge of the range": "edge-of-range",
    "did not converge": "did-not-converge",
    "not identified": "not-identified",
    "moves with the bound of the sum": "moves-with-bound",
    "no repeat visits": "no-repeat-visits",
    "never heard twice": "never-heard-twice",
    "few independent sites": "few-clusters",
    "profile failed, Wald interval": "wald-fallback",
    "rows without covariates left out": "covariate-missing",
    "this index was never heard": "index-never-heard",
    "heard without an index": "index-unknown",
    "one-sided bound": "one-sided",
    "heard on the first night listened": "heard-at-first-effort",
    "heard on the last night listened": "heard-at-last-effort",
    "no clear peak of calling": "no-clear-season",
    "model fits poorly": "poor-fit",
    "routes changed": "routes-changed",
    "routes all alike": "routes-alike",
    "protocol changed": "protocol-changed",
    "stops changed": "stops-changed",
    "years left out": "years-left-out",
    "gap years": "gap-years",
    "one visit a season": "one-visit",
    "open season": "open-season",
    "routes chosen where heard": "chosen-where-heard",
    "stop and route disagree": "sites-disagree",
    "joint entry told": "joint-entry-told",
    "members told": "members-told",
    "few named": "few-named",
    "naming changed": "naming-changed",
    "steps of the call index differ": "steps-differ",
    "region without a weight": "region-not-weighted",
    "region not surveyed": "region-not-surveyed",
    "few routes in a region": "region-few-routes",
    "share of a region not known": "region-unknown",
    "never heard in a region": "region-silent",
    "seasons without every region": "region-gaps",
    "all data": "all-data",
    "only routes run in every season": "routes-of-every-season",
    "without observers in their first season": "no-new-observers",
    "without the seasons in which listening changed": "no-seasons-of-change",
    "without each route’s first two seasons": "no-first-seasons",
    "good years may follow good years": "correlated-years",
    "5% of detections false": "five-percent-false",
    "as many detections false as confirmed calls tell": "false-as-confirmed",
    "two classes of sites, heard well or badly": "two-classes-of-sites",
    "heard better where more call": "detection-by-abundance",
    "by route instead of by stop": "by-route",
    "regions by their weights": "weighted-regions",
    "regions with equal weights": "equal-regions",
}
# Codes of models are put together of these, the longest first.
_FORMER_MODELS = {
    "night, temperature, rain, water, time, wind and noise": "night-temperature-water-air",
    "night, temperature, time, wind and noise": "night-temperature-air",
    "night, temperature, rain and water": "night-temperature-water",
    "year and how long water is held": "year-water-held",
    "year, water held and fish": "year-water-held-fish",
    ", its level free in each year": "+by-year",
    "the same on every visit": "constant",
    ", better where more call": "+by-abundance",
    "night and temperature": "night-temperature",
    ", sites of two classes": "+two-classes",
    "night of the season": "night",
    "year and habitat": "year-habitat",
    "the year alone": "year",
    "year and fish": "year-fish",
}


def current_code(text: str) -> str:
    """The code of a flag or of a choice, however it was written.

    >>> current_code("nobody listened"), current_code("no-effort")
    ('no-effort', 'no-effort')
    """
    return _FORMER.get(text, text)


def current_model(text: str) -> str:
    """The code of a model, however it was written.

    >>> current_model("night of the season, its level free in each year")
    'night+by-year'
    """
    for words, code in _FORMER_MODELS.items():
        text = text.replace(words, code)
    return text


def current_codes(texts: Iterable[str]) -> tuple[str, ...]:
    """The same of several."""
    return tuple(map(current_code, texts))


def with_current_codes(result: Any) -> Any:
    """A stored result, as JSON values, with the codes of today."""
    if isinstance(result, list):
        return [with_current_codes(value) for value in result]
    if not isinstance(result, dict):
        return result
    return {key: _recoded(key, value) for key, value in result.items()}


def _recoded(key: str, value: Any) -> Any:
    if key == "flags":
        return list(current_codes(value))
    if key in ("detection_model", "occupancy_model"):
        return current_model(value)
    value = with_current_codes(value)
    if key == "sensitivity":
        return _renamed(value, current_code)
    if key in ("detection_models", "occupancy_models"):
        return _renamed(value, current_model)
    return value


def _renamed(rows: list[dict[str, Any]], code: Callable[[str], str]) -> list[dict[str, Any]]:
    return [{**row, "name": code(row["name"])} for row in rows]
