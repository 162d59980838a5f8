"""What is made of a recording in a process with limits: bytes to bytes. Runs in
`surveys.bounded`; `sound_messages` says what the bytes are.
"""

import json
from dataclasses import asdict
from typing import Any

from surveys.bounded import RefusedError
from surveys.language import gettext_noop
from surveys.sound.decoding import MOST_SECONDS, UnreadableError, decode
from surveys.sound.encoding import encoded
from surveys.sound.measured import Measures
from surveys.sound.measures import measure, measure_clearest
from surveys.sound.picture import spectrogram_png, waveform, waveform_png
from surveys.sound.seekable import seekable_copy
from surveys.sound.spectrogram import spectrogram
from surveys.visits.media.sound_messages import SHORTEST_REFERENCE_S, packed

UNREADABLE = gettext_noop("The sound in this file could not be read.")
TOO_SHORT = gettext_noop(
    "The sound ends before this part, or the part is shorter than {seconds} seconds. Choose "
    "another part."
)


def picture(content: bytes) -> bytes:
    """`media_type` is asked for; `sound_messages.made` reads the answer. Raises RefusedError."""
    what, _, sound = content.partition(b"\n")
    media_type = json.loads(what)["media_type"]
    del content
    try:
        wave = decode(sound, media_type)
    except UnreadableError:
        raise RefusedError(UNREADABLE) from None
    copy = _copy(sound, media_type)
    del sound
    files = (spectrogram_png(spectrogram(wave)), waveform_png(waveform(wave)), copy)
    told = {
        "seconds": wave.seconds,
        "cut": wave.cut,
        "measures": _told(measure_clearest(wave)),
    }
    return packed(told, files)


def _copy(sound: bytes, media_type: str) -> bytes:
    """What can be decoded has its picture, even where no copy can be made of its packets."""
    try:
        return seekable_copy(sound, media_type) or b""
    except UnreadableError:
        return b""


def selection(content: bytes) -> bytes:
    """Measures, as JSON, of the part that is asked for: `media_type`, `begin_s`, `end_s`, `low_hz`,
    `high_hz`. Raises RefusedError."""
    what, _, sound = content.partition(b"\n")
    wanted = json.loads(what)
    media_type, end_s = wanted.pop("media_type"), wanted["end_s"]
    try:
        wave = decode(sound, media_type, most_s=min(end_s, MOST_SECONDS))
    except UnreadableError:
        raise RefusedError(UNREADABLE) from None
    return json.dumps(_told(measure(wave, **wanted))).encode()


def reference(content: bytes) -> bytes:
    """A part, as a file of its own, its picture and measures: `media_type`, `begin_s` and `end_s`
    are asked for; `sound_messages.made_reference` reads the answer. Raises RefusedError."""
    what, _, sound = content.partition(b"\n")
    wanted = json.loads(what)
    try:
        wave = decode(sound, wanted["media_type"], most_s=min(wanted["end_s"], MOST_SECONDS))
    except UnreadableError:
        raise RefusedError(UNREADABLE) from None
    part = wave.between(wanted["begin_s"], wanted["end_s"])
    if part.seconds < SHORTEST_REFERENCE_S:
        raise RefusedError(TOO_SHORT, seconds=SHORTEST_REFERENCE_S)
    told = {"seconds": part.seconds, "measures": _told(measure(part))}
    return packed(told, (encoded(part), spectrogram_png(spectrogram(part))))


def _told(measures: Measures) -> dict[str, Any]:
    return {
        "begin_s": measures.begin_s,
        "end_s": measures.end_s,
        "bands": [
            asdict(band) | {"pitch_error": band.pitch_error, "rate_error": band.rate_error}
            for band in measures.bands
        ],
    }
