"""The one result type of every statistic, and the words that qualify it."""

from __future__ import annotations

from dataclasses import dataclass, replace

from surveys.language import gettext_noop as _

TOO_FEW_DATA = "too-few-data"
NO_EFFORT = "no-effort"
NEVER_HEARD = "never-heard"
EDGE_OF_RANGE = "edge-of-range"
DID_NOT_CONVERGE = "did-not-converge"
NOT_IDENTIFIED = "not-identified"
NOT_CLEARLY_BETTER = "not-clearly-better"
LEVEL_NOT_KNOWN = "level-not-known"
MOVES_WITH_BOUND = "moves-with-bound"
NO_REPEAT_VISITS = "no-repeat-visits"
NEVER_HEARD_TWICE = "never-heard-twice"
FEW_CLUSTERS = "few-clusters"
WALD_FALLBACK = "wald-fallback"
COVARIATE_MISSING = "covariate-missing"
INDEX_NEVER_HEARD = "index-never-heard"
INDEX_UNKNOWN = "index-unknown"
ONE_SIDED = "one-sided"
HEARD_AT_FIRST_EFFORT = "heard-at-first-effort"
HEARD_AT_LAST_EFFORT = "heard-at-last-effort"
NO_CLEAR_SEASON = "no-clear-season"
POOR_FIT = "poor-fit"
ROUTES_CHANGED = "routes-changed"
ROUTES_ALIKE = "routes-alike"
PROTOCOL_CHANGED = "protocol-changed"
STOPS_CHANGED = "stops-changed"
YEARS_LEFT_OUT = "years-left-out"
GAP_YEARS = "gap-years"
ONE_VISIT = "one-visit"
DETECTION_BORROWED = "detection-borrowed"
OPEN_SEASON = "open-season"
CHOSEN_WHERE_HEARD = "chosen-where-heard"
SITES_DISAGREE = "sites-disagree"
JOINT_ENTRY_TOLD = "joint-entry-told"
MEMBERS_TOLD = "members-told"
FEW_NAMED = "few-named"
NAMING_CHANGED = "naming-changed"
STEPS_DIFFER = "steps-differ"
REGION_NOT_WEIGHTED = "region-not-weighted"
REGION_NOT_SURVEYED = "region-not-surveyed"
REGION_FEW_ROUTES = "region-few-routes"
REGION_UNKNOWN = "region-unknown"
REGION_SILENT = "region-silent"
REGION_GAPS = "region-gaps"

# What a reader sees in place of the code that is stored and published.
FLAG_NAMES: dict[str, str] = {
    TOO_FEW_DATA: _("too few data"),
    NO_EFFORT: _("not surveyed"),
    NEVER_HEARD: _("never heard"),
    EDGE_OF_RANGE: _("estimate at 0% or 100%"),
    DID_NOT_CONVERGE: _("did not converge"),
    NOT_IDENTIFIED: _("not estimable"),
    NOT_CLEARLY_BETTER: _("not clearly better"),
    LEVEL_NOT_KNOWN: _("share of sites not known"),
    MOVES_WITH_BOUND: _("depends on the largest number allowed"),
    NO_REPEAT_VISITS: _("no repeat visits"),
    NEVER_HEARD_TWICE: _("never heard twice at one site"),
    FEW_CLUSTERS: _("few independent sites"),
    WALD_FALLBACK: _("Wald interval in place of profile"),
    COVARIATE_MISSING: _("rows without covariates dropped"),
    INDEX_NEVER_HEARD: _("this call index never heard"),
    INDEX_UNKNOWN: _("heard without a call index"),
    ONE_SIDED: _("one-sided interval"),
    HEARD_AT_FIRST_EFFORT: _("already calling on the first survey night"),
    HEARD_AT_LAST_EFFORT: _("still calling on the last survey night"),
    NO_CLEAR_SEASON: _("no clear peak of calling"),
    POOR_FIT: _("model fits poorly"),
    ROUTES_CHANGED: _("routes changed"),
    ROUTES_ALIKE: _("all routes changed alike"),
    PROTOCOL_CHANGED: _("protocol changed"),
    STOPS_CHANGED: _("stops changed"),
    YEARS_LEFT_OUT: _("some years not in the trend"),
    GAP_YEARS: _("years without a share"),
    ONE_VISIT: _("one visit per season"),
    DETECTION_BORROWED: _("detection borrowed from other species"),
    OPEN_SEASON: _("season still open"),
    CHOSEN_WHERE_HEARD: _("routes chosen where species were heard"),
    SITES_DISAGREE: _("stops and routes disagree"),
    JOINT_ENTRY_TOLD: _("joint entry reported instead"),
    MEMBERS_TOLD: _("species reported instead of the joint entry"),
    FEW_NAMED: _("too few records name the species"),
    NAMING_CHANGED: _("naming of the species changed"),
    STEPS_DIFFER: _("full chorus and call index differ"),
    REGION_NOT_WEIGHTED: _("region without a weight"),
    REGION_NOT_SURVEYED: _("region not surveyed"),
    REGION_FEW_ROUTES: _("too few routes in a region"),
    REGION_UNKNOWN: _("share of a region unknown"),
    REGION_SILENT: _("never heard in a region"),
    REGION_GAPS: _("seasons without every region"),
}

# What each flag says of a number.
FLAGS: dict[str, str] = {
    TOO_FEW_DATA: _("The numbers are too small for a result that can be relied on."),
    NO_EFFORT: _("No listening period was completed, so there is no result."),
    NEVER_HEARD: _("The species was listened for and not heard."),
    EDGE_OF_RANGE: _("The best value lies at the end of what is possible (0% or 100%)."),
    DID_NOT_CONVERGE: _("The calculation did not converge."),
    NOT_IDENTIFIED: _("The data cannot tell the parameters of this model apart."),
    NOT_CLEARLY_BETTER: _(
        "Two classes of sites can make a rare species look common, so this model is used only if "
        "its AIC is better by at least 4."
    ),
    LEVEL_NOT_KNOWN: _(
        "Two classes of sites would more than double the share of occupied sites. Most of these "
        "sites cannot be distinguished from sites without the species."
    ),
    MOVES_WITH_BOUND: _("The estimate depends on the largest number of animals thought possible."),
    NO_REPEAT_VISITS: _("No site was visited twice in a season, so detection cannot be estimated."),
    NEVER_HEARD_TWICE: _(
        "The species was not heard twice at any site in a season, so detection has no estimate."
    ),
    FEW_CLUSTERS: _("Too few independent sites for clustered standard errors to be trusted."),
    WALD_FALLBACK: _("The profile interval could not be found; a Wald interval is given instead."),
    COVARIATE_MISSING: _("Some rows lacked a covariate of the model and were left out."),
    INDEX_NEVER_HEARD: _(
        "No stop was ever heard at this call index, so its share has no estimate."
    ),
    INDEX_UNKNOWN: _("Some stops were heard without a call index, so index shares are too low."),
    ONE_SIDED: _("Only one end of the interval can be found."),
    HEARD_AT_FIRST_EFFORT: _("Heard on the first night of listening: it may have begun earlier."),
    HEARD_AT_LAST_EFFORT: _("Heard on the last night of listening: it may have continued."),
    NO_CLEAR_SEASON: _("Calling does not rise and fall clearly enough to say when its peak is."),
    POOR_FIT: _("The data differ from the fitted model more than chance explains."),
    ROUTES_CHANGED: _(
        "Routes were added or dropped, which moves the pooled trend by more than "
        "its standard error. The change within routes is reported."
    ),
    ROUTES_ALIKE: _("Every route changed in the same way, so nothing shows how uncertain that is."),
    PROTOCOL_CHANGED: _(
        "The rules for listening changed on at least a tenth of the surveys. The "
        "line has a step there, because we cannot separate hearing more from more animals."
    ),
    STOPS_CHANGED: _(
        "At least a tenth of the stops were replaced in one season. The line has a step "
        "there, because we cannot separate better stops from more animals."
    ),
    YEARS_LEFT_OUT: _(
        "Fewer than three seasons lie between two breaks, or before or after one. They "
        "are not in the trend."
    ),
    GAP_YEARS: _(
        "Between the first and the last season year there are years without a share: no visit "
        "counted, or too few records name the species."
    ),
    ONE_VISIT: _(
        "In at least one season no site was visited twice. How often the species is missed "
        "is then taken from other seasons."
    ),
    DETECTION_BORROWED: _(
        "No site was visited twice in a season, so the chance to hear this species is taken from "
        "the other species of the program. The share holds only if it is heard about as well as "
        "they are."
    ),
    CHOSEN_WHERE_HEARD: _(
        "Routes were chosen because the species were heard there. They "
        "start at their best, so the trend leans downward; see it without each route’s first two "
        "seasons."
    ),
    SITES_DISAGREE: _("The trend by stop and the trend by route disagree. Both are shown."),
    OPEN_SEASON: _("The survey windows of this season are not over. It is not in the trend."),
    JOINT_ENTRY_TOLD: _(
        "Fewer than 80% of the records of its group name a species, so the joint "
        "entry is reported instead."
    ),
    MEMBERS_TOLD: _(
        "At least 80% of the records of the group name a species, so its species are "
        "reported instead."
    ),
    FEW_NAMED: _(
        "In some season fewer than 80% of the records of its group name a species. Such a "
        "season has no share for this species, because silence says too little about it."
    ),
    NAMING_CHANGED: _(
        "The share of the group's records that name a species changed much. One half of the years "
        "would report the species, the other half the joint entry."
    ),
    STEPS_DIFFER: _(
        "Full chorus by itself changes differently from the call index as a whole, so its trend is "
        "not reported."
    ),
    REGION_NOT_WEIGHTED: _(
        "Some routes lie in a region without a weight, or in no region, so the whole program has "
        "no trend."
    ),
    REGION_NOT_SURVEYED: _(
        "One region that has a weight has no surveys of this species, so the whole program has no "
        "trend."
    ),
    REGION_FEW_ROUTES: _(
        "Some region has fewer than four routes, too few to speak for it, so the whole program has "
        "no trend."
    ),
    REGION_UNKNOWN: _(
        "The surveys of a region are not enough for its share, so the whole program has no trend."
    ),
    REGION_SILENT: _(
        "The species was never heard in a region. Its share there is taken as 0; the interval "
        "includes what may have been missed there."
    ),
    REGION_GAPS: _(
        "In some seasons a region was not surveyed. They are not in the trend of the whole program."
    ),
}


@dataclass(frozen=True, kw_only=True)
class Estimate:
    """A value with its interval, how both were made, and what limits them.

    ``value``, ``low``, ``high`` and ``se`` are None where they cannot be estimated; a flag then
    says why. ``interval`` is the code of the kind of interval, ``method`` that of the estimator.
    """

    name: str
    value: float | None
    low: float | None
    high: float | None
    interval: str
    method: str
    flags: tuple[str, ...] = ()
    se: float | None = None
    level: float = 0.95


def not_estimable(
    name: str, *, method: str, flags: tuple[str, ...], level: float = 0.95
) -> Estimate:
    """An estimate without a value, with the flags that say why."""
    return Estimate(
        name=name,
        value=None,
        low=None,
        high=None,
        interval="none",
        method=method,
        flags=flags,
        level=level,
    )


def flagged(estimate: Estimate, *flags: str) -> Estimate:
    """The estimate with more flags."""
    return replace(estimate, flags=merge_flags(estimate.flags, flags))


def merge_flags(*groups: tuple[str, ...]) -> tuple[str, ...]:
    """All flags in order of first appearance, each once."""
    return tuple(dict.fromkeys(flag for group in groups for flag in group))
