"""How a number and its interval were made, in the reader's language; stored and published they
are codes. A code may have parts behind `+`, and a part a number behind `:`."""

from surveys.language import gettext
from surveys.language import gettext_noop as _

METHODS = {
    "abundance-induced-detection": _("abundance-induced detection (Royle & Nichols 2003)"),
    "before-after-control-impact": _(
        "before and after against stops where nothing was done (Stewart-Oaten et al. 1986), "
        "occupancy with a level for each season year (MacKenzie et al. 2002)"
    ),
    "borrowed-detection": _(
        "share heard, corrected by the detection of other species (Dorazio & Royle 2005)"
    ),
    "calling-curve": _("logistic curve of calling over the season, its top moving by year"),
    "dynamic-occupancy": _("dynamic occupancy (MacKenzie et al. 2003)"),
    "end-of-range": _("end of a range from visits (Strauss & Sadler 1989)"),
    "false-positive-occupancy": _("occupancy with false positives (Miller et al. 2011)"),
    "full-chorus-line": _(
        "line through yearly levels of full chorus, ordered states (Royle & Link 2005)"
    ),
    "interval-censored-median": _("median of interval-censored times (Turnbull 1976)"),
    "kappa": _("kappa (Cohen 1960 and 1968)"),
    "median-night": _(
        "median night by share of periods heard, each night weighted by the gap it fills"
    ),
    "ordered-call-index": _("call index as ordered states (Royle 2004; Royle & Link 2005)"),
    "pearson-bootstrap": _("parametric bootstrap of Pearson’s X² (MacKenzie & Bailey 2004)"),
    "share-of-trials": _("share of trials (Newcombe 1998)"),
    "simulated-surveys": _(
        "simulated surveys, line through yearly occupancy with the scatter of years"
    ),
    "single-season-occupancy": _("single-season occupancy (MacKenzie et al. 2002)"),
    "species-together": _("hierarchical normal model over the species of the program (Rubin 1981)"),
    "stacked-occupancy": _("occupancy of stacked site-seasons (MacKenzie et al. 2006)"),
    "uncorrected-line": _(
        "line through the yearly shares heard, within routes, not corrected for detection"
    ),
    "weighted-strata": _("weighted yearly shares of the strata (Cochran 1977, ch. 5)"),
    "yearly-line": _("line through yearly occupancy, within routes, with the scatter of years"),
}
INTERVALS = {
    "averaged-over-species": _("quantiles, detection averaged over the spread between species"),
    "averaged-over-spread": _("quantiles, averaged over the spread between species"),
    "chance-of-silence": _("chance of silence"),
    "clopper-pearson": _("Clopper-Pearson interval"),
    "clustered": _("errors by cluster"),
    "clustered-logit": _("t on the logit scale, errors by site"),
    "delta": _("delta method"),
    "delta-logit": _("delta method on the logit scale"),
    "mixture-of-correlations": _("mixture of t over correlations of years"),
    "none": _("no interval"),
    "profile": _("profile likelihood"),
    "route-bootstrap": _("percentiles of {number} bootstrap samples of routes"),
    "routes-and-years": _("t, errors by route and the scatter of years"),
    "routes-within-strata": _("t on the logit scale, errors by route within strata"),
    "shortest-to-longest": _(
        "medians of the shortest and the longest possible times, bootstrap of routes"
    ),
    "silent-visits": _("one-sided, from silent visits"),
    "sum-of-squares": _("sum of squares against chi square"),
    "wald": _("Wald interval"),
    "wald-kappa": _("Wald interval (Fleiss, Cohen & Everitt 1969)"),
    "wald-logit": _("Wald interval on the logit scale"),
    "wider-of-two": _("the wider of errors by route and errors of the model, t by routes"),
    "wilson": _("Wilson interval"),
    "wilson-by-route": _("Wilson interval, effective number of trials by route"),
}
_PARTS = {
    "clustered": _("errors by cluster"),
    "clustered-by-route": _("errors by route"),
    "clustered-by-site": _("errors by site"),
    "programs": _("{number} simulated programs"),
    "surveys": _("{number} simulated surveys"),
    "widened": _("{number} times as wide for poor fit (square root of c-hat)"),
    "years": _("scatter of years"),
}
# Every code, as it stands in a table.
METHOD_CODES = {**METHODS, **INTERVALS, **{f"+{part}": words for part, words in _PARTS.items()}}


def method_in_words(code: str) -> str:
    """What a method or a kind of interval is; a code that is not known, as it stands.

    >>> method_in_words("wilson+programs:400")
    'Wilson interval, 400 simulated programs'
    """
    first, *parts = code.split("+")
    words = [_part(first, METHOD_CODES), *(_part(part, _PARTS) for part in parts)]
    return gettext(", ").join(words)


def _part(code: str, known: dict[str, str]) -> str:
    name, _colon, number = code.partition(":")
    return gettext(known[name]).format(number=number) if name in known else code
