"""What the page of a species says of the joint entry that it belongs to, or that it is."""

from typing import Any

from django.urls import reverse

from surveys.language import grouped, said
from surveys.models import Program, Species
from surveys.protocol.words import number
from surveys.seasons.joint_entries import told_in_groups
from surveys.seasons.options import checklist_species
from surveys.trends.joint_entries import NAMED_SHARE, ToldEntry


def group_notes(program: Program, species: Species) -> list[dict[str, Any]]:
    """For each group of the species: how its records name it, what follows, and links to the
    entries that are told in its place."""
    name = species.scientific_name
    groups = [
        group
        for group in told_in_groups(program)
        if name == group.entry.name or name in group.entry.members
    ]
    if not groups:
        return []
    listed = {entry.scientific_name: entry for entry in checklist_species(program)}

    def links(names: tuple[str, ...]) -> list[dict[str, str]]:
        return [
            {
                "name": listed[other].common_name,
                "url": reverse(
                    "web:trend_species",
                    kwargs={"program": program.slug, "code": listed[other].code},
                ),
            }
            for other in names
        ]

    return [
        {
            "text": words_of_group(group),
            "is_told": (name == group.entry.name) != group.tells_members,
            "links": links(group.entry.members if group.tells_members else (group.entry.name,)),
        }
        for group in groups
    ]


def _share_beside_the_limit(group: ToldEntry) -> str:
    """As precise as it takes to show on which side of the limit it lies, and whether it is all:
    79.5%, not 80%; 99.9%, not 100%."""
    percent = 100 * group.named / group.records
    for places in range(3):
        text = f"{percent:.{places}f}"
        beside = (float(text) >= 100 * NAMED_SHARE) == group.tells_members
        if beside and (float(text) < 100 or group.named == group.records):
            break
    return said("{number}%", number=number(text))


def words_of_group(group: ToldEntry) -> str:
    """How many records of a group name a species, and which of its entries is told for it."""
    counts = {
        "named": grouped(group.named),
        "records": grouped(group.records),
        "share": _share_beside_the_limit(group),
    }
    if group.tells_members:
        return said(
            "{named} of the {records} records of this group ({share}) name a species, so its "
            "species are reported.",
            **counts,
        )
    return said(
        "{named} of the {records} records of this group ({share}) name a species, so the joint "
        "entry is reported.",
        **counts,
    )
