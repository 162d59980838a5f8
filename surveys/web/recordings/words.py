"""What was measured in a recording, in words and numbers for readers."""

from __future__ import annotations

from typing import Any

from django.utils.formats import number_format

from surveys.language import gettext, said
from surveys.models import RecordingPicture

_ROUNDED_HZ = 10


def measured_words(picture: RecordingPicture) -> list[str]:
    """A sentence for each band of pitch, the clearest first."""
    bands = (picture.measures or {}).get("bands", [])
    return [band_words(band) for band in bands]


def band_words(band: dict[str, Any]) -> str:
    """`About 2,950 Hz, ± 2%; pulses not measurable; notes about 0.4 s, ± 20%`."""
    return gettext("; ").join((_pitch(band), _pulses(band), _notes(band)))


def hertz(pitch: float) -> str:
    """`2,950`."""
    rounded = round(pitch / _ROUNDED_HZ) * _ROUNDED_HZ
    return number_format(rounded, decimal_pos=0, force_grouping=True)


def time_labels(seconds: float) -> list[str]:
    """Five times of a picture, evenly from its beginning to its end: `0:00`, `1:30`. Below a minute
    half a second can be seen: `1.5 s`."""
    if seconds < 60:
        return [f"{seconds * part / 4:.1f} s" for part in range(5)]
    return [time_into(seconds * part / 4) for part in range(5)]


def time_into(seconds: float) -> str:
    """Minutes and seconds into a recording."""
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes}:{rest:02}"


def _pitch(band: dict[str, Any]) -> str:
    if band["pitch_hz"] is None:
        return said(
            "Between {low} and {high} Hz, no single pitch",
            low=hertz(band["low_hz"]),
            high=hertz(band["high_hz"]),
        )
    return said(
        "About {pitch} Hz, ± {error}%",
        pitch=hertz(band["pitch_hz"]),
        error=f"{100 * band['pitch_error']:.0f}",
    )


def _pulses(band: dict[str, Any]) -> str:
    if band["pulse_rate"] is None:
        return gettext("pulses not measurable")
    return said(
        "{rate} pulses a second, ± {error}%",
        rate=number_format(band["pulse_rate"], decimal_pos=1),
        error=f"{100 * band['rate_error']:.0f}",
    )


def _notes(band: dict[str, Any]) -> str:
    if band["note_s"] is None:
        return gettext("note length not measurable")
    return said("notes about {length} s, ± 20%", length=number_format(band["note_s"], 2))
