"""The choices under which a trend is worked out again: codes, and their words."""

from __future__ import annotations

from surveys.language import gettext_noop as _

ALL_DATA = "all-data"
EVERY_SEASON = "routes-of-every-season"
NO_FIRST_SEASON = "no-new-observers"
NO_CHANGE_YEARS = "no-seasons-of-change"
NO_FIRST_YEARS = "no-first-seasons"
CORRELATED = "correlated-years"
FALSE_CALLS = "five-percent-false"
CONFIRMED = "false-as-confirmed"
TWO_CLASSES = "two-classes-of-sites"
BY_ABUNDANCE = "detection-by-abundance"
BY_ROUTE = "by-route"
WEIGHTED = "weighted-regions"
ALIKE = "equal-regions"

# What a reader sees in place of the code that is stored and published.
CHOICES: dict[str, str] = {
    ALL_DATA: _("all data"),
    EVERY_SEASON: _("only routes surveyed in every season"),
    NO_FIRST_SEASON: _("without observers in their first season"),
    NO_CHANGE_YEARS: _("without the seasons in which stops or rules for listening changed"),
    NO_FIRST_YEARS: _("without the first two seasons of each route"),
    CORRELATED: _("good and bad years may come in runs"),
    FALSE_CALLS: _("5% of detections are wrong identifications"),
    CONFIRMED: _("as many wrong identifications as confirmed calls suggest"),
    TWO_CLASSES: _("two classes of sites, easy and hard to hear"),
    BY_ABUNDANCE: _("detection is better where more call"),
    BY_ROUTE: _("by route instead of by stop"),
    WEIGHTED: _("regions with their own weights"),
    ALIKE: _("regions with equal weights"),
}
