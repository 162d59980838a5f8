"""Sun and moon over a route on the nights that a phone takes along.

Some 230 places and nights take longer than all else in a packet together, and are the same for
every phone: what one has asked for is kept for the others.
"""

import datetime as dt
import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache as once
from importlib.metadata import version
from pathlib import Path

from django.core.cache import cache

from surveys.protocol import sky
from surveys.protocol.values import Place, StopSky

# The nights move on by one each day, and with them the key.
_KEPT_S = 24 * 3600


@dataclass(frozen=True, kw_only=True)
class NightSky:
    """The sky over each place, in the order given, and the moon over the first of them."""

    stops: tuple[StopSky, ...]
    moon: sky.MoonNight | None


def skies_of(
    places: Mapping[dt.date, tuple[Place, ...]], time_zone: str
) -> dict[dt.date, NightSky]:
    """The skies of every night over the places in use on it."""
    asked = hashlib.sha256(repr((_worked_out_by(), time_zone, places)).encode()).hexdigest()
    key = f"skies:{asked}"
    skies: dict[dt.date, NightSky] | None = cache.get(key)
    if skies is None:
        skies = {
            night: NightSky(
                stops=tuple(sky.stop_sky(place, night, time_zone) for place in there),
                moon=sky.moon_night(there[0], night, time_zone) if there else None,
            )
            for night, there in places.items()
        }
        cache.set(key, skies, _KEPT_S)
    return skies


@once
def _worked_out_by() -> str:
    """What an upgrade may change, here or in the form of what is kept."""
    sources = "".join(Path(name).read_text() for name in (sky.__file__, __file__))
    return f"{hashlib.sha256(sources.encode()).hexdigest()} ephem {version('ephem')}"
