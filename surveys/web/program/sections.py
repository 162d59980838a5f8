"""The sections of a program's set-up, in the order of their tabs."""

from __future__ import annotations

from dataclasses import dataclass

from django.urls import reverse
from django.utils.translation import gettext_lazy

from surveys.models import Program

_SECTIONS = (
    ("overview", "web:program", gettext_lazy("Overview")),
    ("people", "web:people", gettext_lazy("People")),
    ("assignments", "web:program_assignments", gettext_lazy("Assignments")),
    ("routes", "web:program_routes", gettext_lazy("Routes")),
    ("protocols", "web:program_protocols", gettext_lazy("Protocol")),
    ("checklist", "web:program_checklist", gettext_lazy("Checklist")),
    ("own_fields", "web:program_own_fields", gettext_lazy("Own fields")),
    ("stations", "web:stations", gettext_lazy("Weather stations")),
    ("reminders", "web:reminders", gettext_lazy("Reminders")),
    ("sharing", "web:sharing", gettext_lazy("Sharing")),
    ("import", "web:import_start", gettext_lazy("Import")),
    ("status", "web:program_status", gettext_lazy("Status")),
)


@dataclass(frozen=True, kw_only=True)
class Tab:
    name: str
    url: str
    current: bool


def section_tabs(program: Program, section: str) -> list[Tab]:
    return [
        Tab(name=name, url=reverse(address, args=[program.slug]), current=key == section)
        for key, address, name in _SECTIONS
    ]
