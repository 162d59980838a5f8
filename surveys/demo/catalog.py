"""The species catalog of `fixtures/species.json` as rows."""

import json
from collections.abc import Iterator
from dataclasses import dataclass

from django.db import transaction

from surveys.demo.truths import FIXTURES
from surveys.models import Species


@dataclass(frozen=True, kw_only=True)
class Loaded:
    added: int
    kept: int


@transaction.atomic
def load_species() -> Loaded:
    """Add the species and complexes that the catalog lacks. Rows that are there stay
    as they are: somebody may have edited them."""
    rows = list(_rows())
    known = set(
        Species.objects.filter(code__in=[row.code for row in rows]).values_list("code", flat=True)
    )
    missing = [row for row in rows if row.code not in known]
    Species.objects.bulk_create(missing)
    return Loaded(added=len(missing), kept=len(known))


def _rows() -> Iterator[Species]:
    content = json.loads((FIXTURES / "species.json").read_text(encoding="utf-8"))
    by_code = {entry["code"]: entry for entry in content["species"]}
    for entry in content["species"]:
        yield Species(
            code=entry["code"],
            scientific_name=entry["scientific_name"],
            common_name=entry["common_name"],
            synonyms=entry["synonyms"],
            peak_hz=_peaks(entry["peaks_hz"]),
            call=entry["call"],
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


def _peaks(bands: list[list[int]]) -> str:
    return " + ".join(f"{low}" if low == high else f"{low}-{high}" for low, high in bands)


def _joint_name(names: list[str]) -> str:
    """`Pseudacris maculata / triseriata`: the genus once while it stays the same."""
    parts, genus = [], ""
    for name in names:
        first, _, rest = name.partition(" ")
        parts.append(rest if first == genus else name)
        genus = first
    return " / ".join(parts)
