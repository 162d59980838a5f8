"""Names of models in the reader's language; stored and published they are as written."""

from surveys.language import gettext
from surveys.trends.model_selection import BY_YEAR, UNEQUAL


def model_in_words(name: str) -> str:
    """What a model depends on, then its further parts one by one; blank for a blank name."""
    parts = [part for part in (BY_YEAR, *UNEQUAL) if part in name]
    for part in parts:
        name = name.replace(part, "")
    return "".join(map(gettext, (name, *parts)))
