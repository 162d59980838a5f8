"""What the page of a species says of the joint entry that it belongs to, or that it is."""

from typing import Any

from django.urls import reverse

from surveys.charts.words import share
from surveys.language import said
from surveys.models import Program, Species
from surveys.seasons.joint_entries import told_in_groups
from surveys.seasons.options import checklist_species
from surveys.trends.joint_entries import ToldEntry


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
            "text": _words(group),
            "is_told": (name == group.entry.name) != group.tells_members,
            "links": links(group.entry.members if group.tells_members else (group.entry.name,)),
        }
        for group in groups
    ]


def _words(group: ToldEntry) -> str:
    counts = {
        "named": group.named,
        "records": group.records,
        "share": share(group.named / group.records),
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
