"""A hint on the species of a sound, in words: what was measured beside what was expected."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.utils.formats import number_format

from accounts.models import Membership
from surveys.language import gettext, gettext_noop, said
from surveys.models import Recording
from surveys.protocol.words import listed
from surveys.sound.call_ranges import LEAST_REFERENCES, CallRange
from surveys.sound.hint import LEAST_WHISTLES, Hint, Silence
from surveys.visits.media.hints import BandHint, KnownCalls, band_hints
from surveys.visits.media.references import air_at
from surveys.web.recordings.words import band_words, hertz

# Of more species that keep a hint silent, no more are told.
_MOST_TOLD = 4

_SILENT = {
    Silence.NO_PITCH: gettext_noop("No hint: it has no clear pitch."),
    Silence.NO_TEMPERATURE: gettext_noop(
        "No hint: pulses depend on the temperature, and this visit has none."
    ),
    Silence.ENGINE: gettext_noop(
        "No hint: pulses this fast at several pitches are often an engine or a voice."
    ),
    Silence.FEW_WHISTLES: gettext_noop(
        "No hint: a whistle needs {whistles} notes that rise and are alike."
    ),
    Silence.ENDLESS: gettext_noop(
        "No hint: it neither begins nor ends in this part, like the trills of many insects."
    ),
    Silence.NOT_COUNTED: gettext_noop(
        "No hint: this was measured before notes were counted. Measure the part again."
    ),
    Silence.NOTHING_FITS: gettext_noop("No hint: no species fits."),
    Silence.UNPROVEN: gettext_noop(
        "No hint: {species} may sound like this too, with fewer than {references} reference calls."
    ),
    Silence.NOT_LISTED: gettext_noop(
        "No hint: not on your checklist, {species} may sound like this too."
    ),
    Silence.TOO_MANY: gettext_noop("No hint: too many species fit: {species}."),
}


@dataclass(frozen=True, kw_only=True)
class ShownHint:
    """A band of a sound: `measured` in words, what the hint `says`, and what was `expected`."""

    measured: str
    says: str
    expected: tuple[str, ...]
    named: bool


@dataclass(frozen=True, kw_only=True)
class ShownHints:
    """Those of all bands, and the species that none can name yet."""

    bands: tuple[ShownHint, ...]
    without_say: str


def shown_hints(
    member: Membership, recording: Recording, measures: Mapping[str, Any]
) -> ShownHints:
    """For the whole recording or a part of it, by its measures."""
    calls, night = KnownCalls(member.program), recording.visit.night
    celsius = air_at(recording)
    found = band_hints(measures, calls.on(night, without=recording.pk), celsius)
    return ShownHints(
        bands=tuple(_shown(one, calls.names, celsius) for one in found),
        without_say=listed(sorted(calls.names[code] for code in calls.without_say(night))),
    )


def _shown(band: BandHint, names: Mapping[str, str], celsius: float | None) -> ShownHint:
    return ShownHint(
        measured=band_words(band.band),
        says=_says(band.hint, names),
        expected=tuple(_expected(one, names, celsius) for one in band.expected),
        named=bool(band.hint.species),
    )


def _says(hint: Hint, names: Mapping[str, str]) -> str:
    if hint.species:
        called = listed([names[code] for code in hint.species])
        if len(hint.species) == 1:
            return said("May be {species}.", species=called)
        return said("May be one or more of these: {species}.", species=called)
    told = [names[code] for code in hint.because[:_MOST_TOLD]]
    if len(hint.because) > _MOST_TOLD:
        told.append(gettext("others"))
    return said(
        _SILENT[hint.silence],
        species=listed(told),
        references=LEAST_REFERENCES,
        whistles=LEAST_WHISTLES,
    )


def _expected(known: CallRange, names: Mapping[str, str], celsius: float | None) -> str:
    rates = None if celsius is None else known.rate_at(celsius)
    low, high = known.pitch_hz
    facts = {
        "species": names[known.species],
        "low": hertz(low),
        "high": hertz(high),
        "number": known.references,
    }
    if rates is None:
        return said(
            "Expected of {species}: {low} to {high} Hz, whole notes ({number} reference calls)",
            **facts,
        )
    return said(
        "Expected of {species}: {low} to {high} Hz, {slow} to {fast} pulses a second "
        "({number} reference calls)",
        slow=number_format(rates[0], 0),
        fast=number_format(rates[1], 0),
        **facts,
    )
