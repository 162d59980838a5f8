"""The species catalog of `fixtures/species.json` as rows."""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django.db import transaction

from surveys.demo.truths import FIXTURES
from surveys.models import CallingRegion, LookAlikes, Species, SpeciesInRegion
from surveys.protocol.plain import from_plain
from surveys.protocol.values import MonthDay

# What follows the file in rows that are there already. Names and synonyms stay as they are,
# because someone may have edited them, and names are what observers know a species by.
FROM_FILE = ("peak_hz", "call", "note", "is_silent")


@dataclass(frozen=True, kw_only=True)
class Loaded:
    added: int
    updated: int
    kept: int


@transaction.atomic
def load_species() -> Loaded:
    """Bring the catalog to what the file says; safe to repeat. Nothing is deleted.

    Species that are missing are added. Those that are there keep their names, and get new synonyms,
    descriptions, calling seasons and look-alikes. Joint entries that
    have members keep them.
    """
    content = json.loads((FIXTURES / "species.json").read_text(encoding="utf-8"))
    rows = list(_rows(content))
    known = Species.objects.in_bulk([row.code for row in rows], field_name="code")
    Species.objects.bulk_create(row for row in rows if row.code not in known)
    names = {row.scientific_name for row in rows}
    changed = [
        here for row in rows if (here := known.get(row.code)) and _follows_file(here, row, names)
    ]
    Species.objects.bulk_update(changed, [*FROM_FILE, "synonyms"])
    species = Species.objects.in_bulk([row.code for row in rows], field_name="code")
    _write_regions(content, species)
    _write_look_alikes(content, species)
    _add_members(content["complexes"], species)
    return Loaded(
        added=len(rows) - len(known), updated=len(changed), kept=len(known) - len(changed)
    )


def _add_members(entries: list[dict[str, Any]], species: dict[str, Species]) -> None:
    for entry in entries:
        joint = species[entry["code"]]
        if joint.is_complex and not joint.members.exists():
            members = [species[code] for code in entry["members"]]
            joint.members.set(member for member in members if not member.is_complex)


def _rows(content: dict[str, Any]) -> Iterator[Species]:
    by_code = {entry["code"]: entry for entry in content["species"]}
    for entry in content["species"]:
        yield Species(
            code=entry["code"],
            scientific_name=entry["scientific_name"],
            common_name=entry["common_name"],
            synonyms=entry["synonyms"],
            peak_hz=_peaks(entry["peaks_hz"]),
            call=entry["call"],
            note=entry.get("note", ""),
            is_silent=entry.get("silent", False),
        )
    for entry in content["complexes"]:
        members = [by_code[code] for code in entry["members"]]
        yield Species(
            code=entry["code"],
            scientific_name=_joint_name([member["scientific_name"] for member in members]),
            common_name=entry["common_name"],
            is_complex=True,
            call="; ".join(dict.fromkeys(member["call"] for member in members)),
        )


def _follows_file(here: Species, row: Species, names: set[str]) -> bool:
    """Write what follows the file into the row that is there; whether anything changed.

    A joint entry stays as it is. A former name may have become a species of its own, one of
    `names`.
    """
    if here.is_complex:
        return False
    kept = [name for name in here.synonyms if name not in names]
    row.synonyms = kept + [name for name in row.synonyms if name not in kept]
    facts = {name: getattr(row, name) for name in (*FROM_FILE, "synonyms")}
    differ = {name: fact for name, fact in facts.items() if getattr(here, name) != fact}
    for name, fact in differ.items():
        setattr(here, name, fact)
    return bool(differ)


def _write_regions(content: dict[str, Any], species: dict[str, Species]) -> None:
    regions = {}
    for order, entry in enumerate(content["regions"], start=1):
        regions[entry["code"]], _ = CallingRegion.objects.update_or_create(
            code=entry["code"], defaults={"name": entry["name"], "order": order}
        )
    listed = [species[entry["code"]] for entry in content["species"]]
    SpeciesInRegion.objects.filter(species__in=listed).delete()
    SpeciesInRegion.objects.bulk_create(
        row
        for entry in content["species"]
        for row in _in_regions(entry, species[entry["code"]], regions)
    )


def _in_regions(
    entry: dict[str, Any], species: Species, regions: dict[str, CallingRegion]
) -> Iterator[SpeciesInRegion]:
    for code in entry.get("lives_in", []):
        yield SpeciesInRegion(species=species, region=regions[code])
    for calling in entry["calling"]:
        row = SpeciesInRegion(
            species=species,
            region=regions[calling["region"]],
            mark=calling["mark"],
            is_introduced=calling["region"] in entry.get("introduced_in", []),
        )
        if "first" in calling:
            first, last = (from_plain(MonthDay, calling[end]) for end in ("first", "last"))
            row.calls_from_month, row.calls_from_day = first.month, first.day
            row.calls_to_month, row.calls_to_day = last.month, last.day
        yield row


def _write_look_alikes(content: dict[str, Any], species: dict[str, Species]) -> None:
    for order, entry in enumerate(content["look_alikes"], start=1):
        group, _ = LookAlikes.objects.update_or_create(
            code=entry["code"],
            defaults={
                "name": entry["name"],
                "how": entry["how"],
                "other_sounds": entry.get("other_sounds", []),
                "order": order,
            },
        )
        group.members.set([species[code] for code in entry["members"]])


def _peaks(bands: list[list[int]]) -> str:
    return " + ".join(f"{low}-{high}" for low, high in bands)


def _joint_name(names: list[str]) -> str:
    """`Pseudacris maculata / triseriata`: the genus once while it stays the same."""
    parts, genus = [], ""
    for name in names:
        first, _, rest = name.partition(" ")
        parts.append(rest if first == genus else name)
        genus = first
    return " / ".join(parts)
