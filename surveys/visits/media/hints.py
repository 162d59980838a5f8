"""Which species the sound of a recording may be, by the reference calls of its program."""

from __future__ import annotations

import datetime as dt
import uuid
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from surveys.models import ChecklistEntry, Program, ReferenceCall, Species
from surveys.programs.in_force import entries_listed
from surveys.sound.call_ranges import (
    LEAST_REFERENCES,
    CallRange,
    Sample,
    measured_range,
    remembered_ranges,
    sample_of,
)
from surveys.sound.calls import call_of
from surveys.sound.hint import Hint, hints
from surveys.sound.measured import BandMeasures
from surveys.visits.media.references import kept_references

_FIELDS = tuple(BandMeasures.__dataclass_fields__)


@dataclass(frozen=True, kw_only=True)
class BandHint:
    """A band as `sound_work` stores it, its hint, and what was expected of the species named."""

    band: Mapping[str, Any]
    hint: Hint
    expected: tuple[CallRange, ...]


class KnownCalls:
    """How the species of a program call, as far as it is known. Loaded once, in five queries."""

    def __init__(self, program: Program) -> None:
        self._program = program
        self._by_night: dict[tuple[dt.date, uuid.UUID | None], list[CallRange]] = {}

    @cached_property
    def names(self) -> dict[str, str]:
        """Common names by code."""
        return {code: one.name for code, one in self._species.items()}

    def on(self, night: dt.date, *, without: uuid.UUID | None = None) -> list[CallRange]:
        """Ranges of all species that may be heard on a night: those of the checklist and those of
        the calling region, or of the catalog where the program has none. Reference calls taken from
        the recording `without` are left out: they would only say that it is like itself."""
        key = night, without if without in self._sources else None
        if key not in self._by_night:
            self._by_night[key] = self._ranges(*key)
        return self._by_night[key]

    def without_say(self, night: dt.date) -> list[str]:
        """Codes of the checklist's species that can never be named yet."""
        measured = {one.species for one in self.on(night) if one.references}
        return sorted(self._listed(night) - measured)

    @property
    def can_name(self) -> bool:
        """Whether any species has the reference calls that a hint needs."""
        return any(len(several) >= LEAST_REFERENCES for several in self._references.values())

    @cached_property
    def _species(self) -> dict[str, Species]:
        """Those that call, each for itself."""
        known = Species.objects.known_to(self._program).filter(is_complex=False, is_silent=False)
        return {one.code: one for one in known}

    @cached_property
    def _entries(self) -> list[ChecklistEntry]:
        entries = self._program.checklist.select_related("species")
        return list(entries.prefetch_related("species__members"))

    @cached_property
    def _around(self) -> set[str]:
        region = self._program.calling_region
        if region is None:
            return {code for code, one in self._species.items() if one.program_id is None}
        return self._species.keys() & set(region.species.values_list("species__code", flat=True))

    @cached_property
    def _references(self) -> dict[str, list[ReferenceCall]]:
        found: dict[str, list[ReferenceCall]] = defaultdict(list)
        for reference in kept_references(self._program).filter(is_confirmed=True):
            found[reference.species.code].append(reference)
        return found

    @cached_property
    def _sources(self) -> set[uuid.UUID | None]:
        """Recordings that reference calls are taken from."""
        return {one.recording_id for several in self._references.values() for one in several}

    def _ranges(self, night: dt.date, without: uuid.UUID | None) -> list[CallRange]:
        listed = self._listed(night)
        found: list[CallRange] = []
        for code in sorted(listed | self._around):
            species = self._species[code]
            samples = self._samples(code, without) if code in listed else []
            measured = measured_range(code, samples, listed=True)
            found += (
                [measured]
                if measured
                else remembered_ranges(code, species.peak_hz, call_of(code), listed=code in listed)
            )
        return found

    def _listed(self, night: dt.date) -> set[str]:
        """A joint entry stands for its members."""
        species = [entry.species for entry in entries_listed(self._entries, night)]
        heard_as = {one.code for entry in species for one in (entry.members.all() or [entry])}
        return self._species.keys() & heard_as

    def _samples(self, code: str, without: uuid.UUID | None) -> list[Sample]:
        return [
            sample_of(bands[0], reference.air_celsius)
            for reference in self._references[code]
            if without is None or reference.recording_id != without
            for bands in [stored_bands(reference.measures)]
            if bands
        ]


def band_hints(
    measures: Mapping[str, Any], known: Sequence[CallRange], celsius: float | None
) -> list[BandHint]:
    """A hint for each band that was measured, as `RecordingPicture.measures` has them."""
    found = hints(stored_bands(measures), known, celsius)
    return [
        BandHint(
            band=band,
            hint=hint,
            expected=tuple(one for one in known if one.species in hint.species),
        )
        for band, hint in zip(measures["bands"], found, strict=True)
    ]


def stored_bands(measures: Mapping[str, Any]) -> list[BandMeasures]:
    """Of recordings that were measured before notes were counted, these stay unknown."""
    return [
        BandMeasures(**{name: value for name, value in band.items() if name in _FIELDS})
        for band in measures["bands"]
    ]
