"""Reads the rows of animals that were seen rather than heard."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from functools import partial

from surveys.protocol.values import Finding
from surveys.visits.sheet.part import Part
from surveys.visits.sheet.texts import (
    CellError,
    integer_between,
    read_choice,
    read_integer,
    read_text,
    shortened,
)

LIFE_STAGES = ("eggs", "larva", "metamorph", "juvenile", "adult")


@dataclass(frozen=True, kw_only=True)
class SightingFacts:
    """A sighting; `stop` is None when it was between stops."""

    row: int
    species: str
    life_stage: str
    stop: int | None = None
    count: int | None = None
    color_form: str = ""
    note: str = ""


def read_sighting(
    row: int,
    texts: dict[str, str],
    *,
    stops: Collection[int],
    catalog: Mapping[str, str],
    has_photo: bool,
) -> tuple[SightingFacts | None, tuple[Finding, ...]]:
    """Read one row. `catalog` maps casefolded codes and names to species codes."""
    part = Part(
        texts=texts,
        problems=[],
        prefix=f"sightings.{row}.",
        belongs_to={"row": row},
    )
    if not has_photo and not any(part.has(name) for name in texts):
        return None, ()
    species = part.read("species", partial(_read_species, catalog=catalog))
    stage = part.read("life_stage", partial(read_choice, choices=LIFE_STAGES))
    for name, variant in (("species", ""), ("life_stage", "life-stage")):
        if not part.has(name):
            part.report("sighting-incomplete", name, variant, row=row)
    stop = part.read("stop", read_integer)
    if stop is not None and stop not in stops:
        part.report("sighting-stop-unknown", "stop", row=row, stop=stop)
    count = part.read("count", partial(integer_between, low=0, high=1_000_000))
    color = part.read("color_form", partial(read_text, max_length=80)) or ""
    if species is None or stage is None:
        return None, tuple(part.problems)
    facts = SightingFacts(
        row=row,
        species=species,
        life_stage=stage,
        stop=stop,
        count=count,
        color_form=color,
        note=part.text("note").strip(),
    )
    return facts, tuple(part.problems)


def _read_species(text: str, catalog: Mapping[str, str]) -> str:
    code = catalog.get(" ".join(text.split()).casefold())
    if code is None:
        raise CellError("species-unknown", typed=shortened(text))
    return code
