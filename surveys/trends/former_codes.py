"""Codes as fits and publications from before hold them: in the words that were shown then.

A publication never changes, so its tables are read by way of this list for ever.
"""

from __future__ import annotations

import re
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


_FORMER_METHODS = {
    "line through yearly levels of full chorus, ordered states (Royle & Link 2005)": (
        "full-chorus-line"
    ),
    "line through the yearly shares heard, within routes, not corrected for detection": (
        "uncorrected-line"
    ),
    "hierarchical normal model over the species of the program (Rubin 1981)": "species-together",
    "simulated surveys, line through yearly occupancy with the scatter of years": (
        "simulated-surveys"
    ),
    "abundance-induced detection (Royle & Nichols 2003)": "abundance-induced-detection",
    "logistic curve of calling over the season, its top moving by year": "calling-curve",
    "occupancy of stacked site-seasons (MacKenzie et al. 2006)": "stacked-occupancy",
    "end of a range from visits (Strauss & Sadler 1989, Mathematical Geology 21:411–427)": (
        "end-of-range"
    ),
    "median night by share of periods heard, each night weighted by the gap it fills": (
        "median-night"
    ),
    (
        "kappa (Cohen 1960, Educ. Psychol. Meas. 20:37–46; Cohen 1968, Psychol. Bull. 70:213–220)"
    ): "kappa",
    "parametric bootstrap of Pearson's X2 (MacKenzie & Bailey 2004)": "pearson-bootstrap",
    "call index as ordered states (Royle 2004; Royle & Link 2005)": "ordered-call-index",
    "occupancy with false positives (Miller et al. 2011)": "false-positive-occupancy",
    "line through yearly occupancy, within routes, with the scatter of years": "yearly-line",
    "single-season occupancy (MacKenzie et al. 2002)": "single-season-occupancy",
    "dynamic occupancy (MacKenzie et al. 2003)": "dynamic-occupancy",
    "yearly shares of the strata by their weights (Cochran 1977, ch. 5)": "weighted-strata",
    "share of trials (Newcombe 1998, Statistics in Medicine 17:857–872)": "share-of-trials",
    (
        "before and after against stops where nothing was done (Stewart-Oaten et al. 1986, "
        "Ecology 67:929–940), occupancy with a level for each season year (MacKenzie et al. "
        "2002)"
    ): "before-after-control-impact",
    (
        "median of interval-censored times (Turnbull 1976, Journal of the Royal Statistical "
        "Society B 38:290–295)"
    ): "interval-censored-median",
    "Wilson, effective number of trials by route": "wilson-by-route",
    "Wilson": "wilson",
    "Wald": "wald",
    "Clopper-Pearson": "clopper-pearson",
    "clustered by site, t on the logit scale": "clustered-logit",
    "Wald on the logit scale": "wald-logit",
    "profile likelihood": "profile",
    "delta method on the logit scale": "delta-logit",
    "delta method on the logit scale, clustered": "delta-logit+clustered",
    "delta method on the logit scale, clustered by site": "delta-logit+clustered-by-site",
    "delta method": "delta",
    "delta method, clustered by route": "delta+clustered-by-route",
    "delta method, clustered by site": "delta+clustered-by-site",
    "t, errors by route and the scatter of years": "routes-and-years",
    "t on the logit scale, errors by route within strata": "routes-within-strata",
    "t on the logit scale, errors by route within strata, and the scatter of years": (
        "routes-within-strata+years"
    ),
    "quantiles, averaged over the spread between species": "averaged-over-spread",
    "Wald (Fleiss, Cohen & Everitt 1969, Psychol. Bull. 72:323–327)": "wald-kappa",
    "the wider of clustered by route and by the model, t by routes": "wider-of-two",
    "medians of the shortest and the longest possible times, bootstrap of routes": (
        "shortest-to-longest"
    ),
    "one-sided, from silent visits": "silent-visits",
    "sum of squares against chi square": "sum-of-squares",
    "mixture of t over correlations of years": "mixture-of-correlations",
    "chance of silence": "chance-of-silence",
}
# Those that held a number.
_FORMER_WITH_NUMBERS = (
    (re.compile(r"^Wilson, (\d+) simulated surveys$"), r"wilson+surveys:\1"),
    (re.compile(r"^Wilson, (\d+) simulated programs$"), r"wilson+programs:\1"),
    (re.compile(r"^bootstrap of routes, percentile, (\d+) samples$"), r"route-bootstrap:\1"),
)
_FORMER_WIDENED = re.compile(r"^(.*), ([\d.]+) times as wide for poor fit \(sqrt of c-hat\)$")


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


def current_method(text: str) -> str:
    """The code of a method or of a kind of interval, however it was written.

    >>> current_method("Wilson, 400 simulated programs"), current_method("Wilson")
    ('wilson+programs:400', 'wilson')
    """
    if widened := _FORMER_WIDENED.match(text):
        return f"{current_method(widened[1])}+widened:{widened[2]}"
    for pattern, code in _FORMER_WITH_NUMBERS:
        text = pattern.sub(code, text)
    return _FORMER_METHODS.get(text, text)


def current_codes(texts: Iterable[str]) -> tuple[str, ...]:
    """The same of several."""
    return tuple(map(current_code, texts))


def current_cell(column: str, text: str) -> str:
    """A cell of a published table of results, with the codes of today.

    >>> current_cell("flags", "nobody listened; gap years")
    'no-effort; gap-years'
    """
    if column.endswith("flags"):
        return "; ".join(current_codes(text.split("; ")))
    if column in ("detection_model", "occupancy_model"):
        return current_model(text)
    if column == "method":
        interval, mark, method = text.partition("; ")
        return f"{current_method(interval)}{mark}{current_method(method)}"
    return text


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
    if key in ("interval", "method") and isinstance(value, str):
        return current_method(value)
    value = with_current_codes(value)
    if key == "sensitivity":
        return _renamed(value, current_code)
    if key in ("detection_models", "occupancy_models"):
        return _renamed(value, current_model)
    return value


def _renamed(rows: list[dict[str, Any]], code: Callable[[str], str]) -> list[dict[str, Any]]:
    return [{**row, "name": code(row["name"])} for row in rows]
