"""Template filters that format values."""

import datetime as dt
from collections.abc import Mapping

from django import template
from django.template.defaultfilters import filesizeformat, floatformat

from surveys.dates import clock
from surveys.language import gettext, said
from surveys.models import Sighting
from surveys.protocol.sky import MoonNight
from surveys.protocol.words import duration, listed
from surveys.runs.kinds import run_name
from surveys.web.recordings.words import band_words, measured_words, time_into, time_labels

register = template.Library()
register.filter("run_name", run_name)

# What browsers call themselves and the systems they run on; the first that is found. From memory.
_BROWSERS = {
    "Edg": "Edge",
    "OPR": "Opera",
    "SamsungBrowser": "Samsung Internet",
    "Firefox": "Firefox",
    "FxiOS": "Firefox",
    "CriOS": "Chrome",
    "Chrome": "Chrome",
    "Safari": "Safari",
}
_SYSTEMS = {
    "iPhone": "iPhone",
    "iPad": "iPad",
    "Android": "Android",
    "Windows": "Windows",
    "CrOS": "Chromebook",
    "Mac OS X": "Mac",
    "Linux": "Linux",
}


@register.filter
def browser_and_system(user_agent: str) -> str:
    """`Firefox, Windows`; as it was sent where either is unknown."""
    browser, system = (
        next((words for sign, words in signs.items() if sign in user_agent), "")
        for signs in (_BROWSERS, _SYSTEMS)
    )
    return f"{browser}, {system}" if browser and system else user_agent


@register.filter
def pitch(peaks: str) -> str:
    """`200–300 and 1,260–1,540`, of the bands as they are stored: `200-300 + 1260-1540`."""
    return listed(
        ["–".join(floatformat(end, "0g") for end in band.split("-")) for band in peaks.split(" + ")]
    )


@register.filter
def moon(night: MoonNight | None) -> str:
    """`64% lit, waxing`."""
    if night is None:
        return "–"
    if night.waxing:
        return said("{percent}% lit, waxing", percent=_percent_lit(night))
    return said("{percent}% lit, waning", percent=_percent_lit(night))


@register.filter
def moon_share(night: MoonNight | None) -> str:
    """`64%`."""
    return said("{percent}%", percent=_percent_lit(night)) if night else "–"


@register.filter
def moon_hours(night: MoonNight | None) -> str:
    """`waxing, rises 9:14 pm, sets 4:10 am`."""
    if night is None:
        return ""
    parts = [gettext("waxing") if night.waxing else gettext("waning")]
    parts += [said("rises {time}", time=clock(night.rises))] if night.rises else []
    parts += [said("sets {time}", time=clock(night.sets))] if night.sets else []
    return gettext(", ").join(parts)


def _percent_lit(night: MoonNight) -> str:
    return f"{night.lit_share * 100:.0f}"


@register.filter
def length_in_words(seconds: float) -> str:
    """`42 s`, `1 min 30 s`."""
    return duration(dt.timedelta(seconds=max(1, round(seconds))))


@register.filter
def file_size(count: int) -> str:
    """`310 bytes`, `1.2 MB`; never `1012 bytes`, which has no comma."""
    return filesizeformat(max(count, 1024) if count >= 1000 else count)


register.filter("sound_measures", measured_words)
register.filter("sound_band", band_words)
register.filter("sound_times", time_labels)
register.filter("sound_clock", time_into)


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
    return gettext(", ").join(parts)


@register.filter
def at_key(values: Mapping, key: object) -> object:
    """The value of a key that a template cannot spell out, None without one."""
    return values.get(key)
