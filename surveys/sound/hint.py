"""Which species a measured sound may be: a hint, never a verdict. Imports no Django.

Pitch and pulse rate are compared with what is known of species. What rests on reference calls that
were measured can name a species; what rests on memory can only keep the hint silent, as can a
species that is not on the checklist. Where several species sound alike, all are named together.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum

from surveys.sound.call_ranges import CallRange, Limits
from surveys.sound.measured import BandMeasures

# Engines and voices are pulses of one rate in several bands.
_ENGINE_RATE, _SAME_RATE = 55.0, 0.08
# A whistle has nothing but its pitch: it must be heard often, rise, and be alike each time.
LEAST_WHISTLES, _LEAST_RISE, _MOST_SPREAD = 8, 0.01, 0.35
# A band whose upper edge is so many times its lower one has no pitch to compare.
MOST_WIDE = 1.4
# More of them are no help.
MOST_NAMED = 3


class Silence(StrEnum):
    """Why a band has no hint."""

    NO_PITCH = "no_pitch"
    NO_TEMPERATURE = "no_temperature"
    ENGINE = "engine"
    FEW_WHISTLES = "few_whistles"
    ENDLESS = "endless"
    NOT_COUNTED = "not_counted"
    NOTHING_FITS = "nothing_fits"
    UNPROVEN = "unproven"
    NOT_LISTED = "not_listed"
    TOO_MANY = "too_many"


@dataclass(frozen=True, kw_only=True)
class Hint:
    """The species that a band may be, the checklist's only, or why it names none. `because` are the
    species that keep it silent."""

    species: tuple[str, ...] = ()
    silence: Silence | None = None
    because: tuple[str, ...] = ()


def hints(
    bands: Sequence[BandMeasures], known: Iterable[CallRange], celsius: float | None
) -> tuple[Hint, ...]:
    """A hint for each band.

    Parameters
    ----------
    bands
        As `measures.measure` gives them.
    known
        Ranges of all species that may be heard there, on the checklist or not; a species may have
        several.
    celsius
        Air temperature at the stop; without one, nothing that pulses is named.

    Examples
    --------
    >>> band = BandMeasures(
    ...     low_hz=2500, high_hz=2900, pitch_hz=2700, pulse_rate=18, note_s=0.9, several=False,
    ...     note_count=9, rise=0.05, note_spread=0.2,
    ... )
    >>> boreal = CallRange(
    ...     species="boreal", pitch_hz=(2400, 3100), pulse_rate=(20, 27), references=3
    ... )
    >>> hints([band], [boreal], celsius=14)[0].species
    ('boreal',)
    >>> hints([band], [boreal], celsius=25)[0].silence
    <Silence.NOTHING_FITS: 'nothing_fits'>
    """
    ranges = tuple(known)
    if _is_engine(bands):
        return tuple(Hint(silence=Silence.ENGINE) for _ in bands)
    return tuple(_hint(band, ranges, celsius) for band in bands)


def _hint(band: BandMeasures, known: Sequence[CallRange], celsius: float | None) -> Hint:
    if band.high_hz > MOST_WIDE * band.low_hz:
        return Hint(silence=Silence.NO_PITCH)
    if band.pulse_rate is not None and celsius is None:
        return Hint(silence=Silence.NO_TEMPERATURE)
    if band.note_count is None:
        return Hint(silence=Silence.NOT_COUNTED)
    if band.pulse_rate is None and not _is_whistle(band):
        return Hint(silence=Silence.FEW_WHISTLES)
    if band.pulse_rate is not None and not band.note_count:
        return Hint(silence=Silence.ENDLESS)
    fitting = [one for one in known if _fits(one, band, celsius)]
    strangers = _species(one for one in fitting if not one.listed)
    if strangers:
        return Hint(silence=Silence.NOT_LISTED, because=strangers)
    unproven = _species(one for one in fitting if not one.references)
    if unproven:
        return Hint(silence=Silence.UNPROVEN, because=unproven)
    named = _species(fitting)
    if not named:
        return Hint(silence=Silence.NOTHING_FITS)
    if len(named) > MOST_NAMED:
        return Hint(silence=Silence.TOO_MANY, because=named)
    return Hint(species=named)


def _fits(known: CallRange, band: BandMeasures, celsius: float | None) -> bool:
    low, high = known.pitch_hz
    lowest, highest = band.pitches
    if lowest < low * (1 - band.pitch_error) or highest > high * (1 + band.pitch_error):
        return False
    # Where several call at once, notes run into one another.
    rise = None if band.several else band.rise
    if _is_outside(known.note_s, band.note_s) or _is_outside(known.rise, rise):
        return False
    if known.of_any_rate:
        return True
    if band.pulse_rate is None or celsius is None:
        return known.pulse_rate is None and band.pulse_rate is None
    rates = known.rate_at(celsius)
    if rates is None:
        return False
    slowest, fastest = rates[0] * (1 - band.rate_error), rates[1] * (1 + band.rate_error)
    return slowest <= band.pulse_rate <= fastest


def _is_outside(limits: Limits | None, value: float | None) -> bool:
    return limits is not None and value is not None and not limits[0] <= value <= limits[1]


def _is_whistle(band: BandMeasures) -> bool:
    return (
        (band.note_count or 0) >= LEAST_WHISTLES
        and band.rise is not None
        and band.rise >= _LEAST_RISE
        and band.note_spread is not None
        and band.note_spread <= _MOST_SPREAD
    )


def _is_engine(bands: Sequence[BandMeasures]) -> bool:
    fast = [
        band.pulse_rate
        for band in bands
        if band.pulse_rate is not None and band.pulse_rate > _ENGINE_RATE
    ]
    return any(
        abs(one / other - 1) <= _SAME_RATE
        for number, one in enumerate(fast)
        for other in fast[:number]
    )


def _species(ranges: Iterable[CallRange]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(one.species for one in ranges))
