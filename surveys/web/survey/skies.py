"""Sun and moon over a route on the nights that a phone takes along.

Some 230 places and nights take longer than all else in a packet together. The nights move on by
one each day.
"""

import datetime as dt
import sys
from collections.abc import Mapping
from dataclasses import dataclass

from surveys.protocol import sky
from surveys.protocol.values import Place, StopSky
from surveys.web.survey.keeping import kept


@dataclass(frozen=True, kw_only=True)
class NightSky:
    """The sky over each place, in the order given, and the moon over the first of them."""

    stops: tuple[StopSky, ...]
    moon: sky.MoonNight | None


def skies_of(
    places: Mapping[dt.date, tuple[Place, ...]], time_zone: str
) -> dict[dt.date, NightSky]:
    """The skies of every night over the places in use on it."""

    def skies() -> dict[dt.date, NightSky]:
        return {
            night: NightSky(
                stops=tuple(sky.stop_sky(place, night, time_zone) for place in there),
                moon=sky.moon_night(there[0], night, time_zone) if there else None,
            )
            for night, there in places.items()
        }

    return kept(skies, (time_zone, places), modules=(sky, sys.modules[__name__]), library="ephem")
