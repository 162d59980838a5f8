"""What was measured in a sound, as values: read where nothing is measured, so without scipy."""

from __future__ import annotations

from dataclasses import dataclass

# Shares of the pitch and of the pulse rate: nine in ten errors in calls made by computer.
PITCH_ERROR = {"one": 0.02, "several": 0.06}
RATE_ERROR = {"one": 0.01, "several": 0.08}


@dataclass(frozen=True, kw_only=True)
class BandMeasures:
    """A band in Hz; `pitch_hz` is its strongest pitch, `pulse_rate` in pulses a second, `note_s`
    the usual length of a note in seconds. `several`: more than one caller, as far as can be told,
    so that the wider limits hold. `note_count` whole notes were heard, None in measures from before
    they were counted; from its first to its last half a note rises by `rise` of its pitch, and nine
    notes in ten differ in length by no more than `note_spread` of the usual one, both None without
    notes."""

    low_hz: float
    high_hz: float
    pitch_hz: float | None
    pulse_rate: float | None
    note_s: float | None
    several: bool
    note_count: int | None = None
    rise: float | None = None
    note_spread: float | None = None

    @property
    def pitches(self) -> tuple[float, float]:
        """Its pitch, or where it has no one pitch, its edges."""
        if self.pitch_hz is None:
            return self.low_hz, self.high_hz
        return self.pitch_hz, self.pitch_hz

    @property
    def pitch_error(self) -> float:
        """Share of the pitch."""
        return PITCH_ERROR["several" if self.several else "one"]

    @property
    def rate_error(self) -> float:
        """Share of the pulse rate."""
        return RATE_ERROR["several" if self.several else "one"]


@dataclass(frozen=True, kw_only=True)
class Measures:
    """What was measured from `begin_s` to `end_s`, the clearest band first; none where nothing
    stands out."""

    begin_s: float
    end_s: float
    bands: tuple[BandMeasures, ...]
