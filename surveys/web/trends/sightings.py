"""Color forms and life stages on the page of a species."""

from collections.abc import Iterable

from surveys.charts.words import flags_in_words, share_with_interval
from surveys.language import said
from surveys.models import LifeStage
from surveys.trends.sightings import LIFE_STAGE, TraitShare

# Season year, what, how many, share with interval, flags.
Row = tuple[int, str, str, str, str]


def sighting_rows(shares: Iterable[TraitShare], trait: str, region: str) -> list[Row]:
    """The rows of a trait in a region, blank for all of them, the newest season first."""
    chosen = [one for one in shares if (one.trait, one.region) == (trait, region)]
    return [
        (
            one.season_year,
            str(LifeStage(one.value).label) if trait == LIFE_STAGE else one.value,
            said("{number} of {of}", number=one.number, of=one.of),
            share_with_interval(one.share),
            flags_in_words(one.share.flags),
        )
        for one in sorted(chosen, key=lambda one: -one.season_year)
    ]
