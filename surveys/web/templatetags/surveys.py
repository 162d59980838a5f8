"""Template filters that format values."""

import datetime as dt
from collections.abc import Mapping
from zoneinfo import ZoneInfo

from django import template

from surveys.language import said
from surveys.models import Sighting
from surveys.protocol.sky import MoonNight
from surveys.protocol.words import duration

register = template.Library()


@register.filter
def clock(instant: dt.datetime | None, zone: str) -> str:
    """Local clock time, or a dash when there is none."""
    return f"{instant.astimezone(ZoneInfo(zone)):%H:%M}" if instant else "–"


@register.filter
def moon(night: MoonNight | None) -> str:
    """`64 % lit, waxing`."""
    if night is None:
        return "–"
    return said(
        "{night} % lit, {night_2}",
        night=f"{night.lit_share * 100:.0f}",
        night_2="waxing" if night.waxing else "waning",
    )


@register.filter
def moon_share(night: MoonNight | None) -> str:
    """`64 %`."""
    return f"{night.lit_share * 100:.0f} %" if night else "–"


@register.filter
def moon_hours(night: MoonNight | None, zone: str) -> str:
    """`waxing, rises 21:14, sets 04:10`."""
    if night is None:
        return ""
    parts = ["waxing" if night.waxing else "waning"]
    parts += [
        f"{verb} {clock(instant, zone)}"
        for verb, instant in (("rises", night.rises), ("sets", night.sets))
        if instant
    ]
    return ", ".join(parts)


@register.filter
def length_in_words(seconds: float) -> str:
    """`42 s`, `1 min 30 s`."""
    return duration(dt.timedelta(seconds=max(1, round(seconds))))


@register.filter
def minutes(length: dt.timedelta | None) -> str:
    """`5 min`, `1 min 30 s`."""
    return duration(length) if length is not None else "–"


@register.filter
def sighting_details(sighting: Sighting) -> str:
    """`Adult, 3, stop 2, green`: what is known of it besides the species and the note."""
    count, stop, color = sighting.count, sighting.stop, sighting.color_form
    parts = [sighting.get_life_stage_display()]
    parts += [str(count)] if count is not None else []
    parts += [said("stop {stop_number}", stop_number=stop.number)] if stop else []
    parts += [color] if color else []
    return ", ".join(parts)


@register.filter
def at_key(values: Mapping, key: object) -> object:
    """The value of a key that a template cannot spell out, None without one."""
    return values.get(key)
