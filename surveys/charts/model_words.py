"""Models in the reader's language; stored and published they are codes."""

from surveys.language import gettext
from surveys.language import gettext_noop as _
from surveys.trends.model_selection import CONSTANT, SAME

# What a model depends on.
_BASES = {
    CONSTANT: _("the same on every visit"),
    "night": _("night of the season"),
    "night-temperature": _("night and temperature"),
    "night-temperature-level": _("night, temperature and water"),
    "night-temperature-water": _("night, temperature, rain and water"),
    "night-temperature-air": _("night, temperature, time, wind and noise"),
    "night-temperature-level-air": _("night, temperature, water, time, wind and noise"),
    "night-temperature-water-air": _("night, temperature, rain, water, time, wind and noise"),
    SAME: _("the year alone"),
    "year-water-held": _("year and how long water is held"),
    "year-fish": _("year and fish"),
    "year-water-held-fish": _("year, how long water is held, and fish"),
    "year-habitat": _("year and habitat"),
}
# What a model of detection has besides.
_PARTS = {
    "by-year": _("separate level for each year"),
    "two-classes": _("two classes of sites, easy and hard to hear"),
    "by-abundance": _("better where more call"),
}
# Every code, as it stands in a table.
MODEL_CODES = {**_BASES, **{f"+{part}": words for part, words in _PARTS.items()}}


def model_in_words(code: str) -> str:
    """What a model depends on, then its further parts one by one; blank for a blank code."""
    base, *parts = code.split("+")
    words = (_BASES.get(base, base), *(_PARTS.get(part, part) for part in parts))
    return gettext("; ").join(map(gettext, words))
