"""What the history of a program is made of: each kind of thing, how its facts are said, and how
its events lead to the program."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.core.exceptions import ObjectDoesNotExist
from django.db.models import Model
from django.utils.translation import gettext_lazy

from accounts.edit_conflicts import Facts, yes_or_no
from accounts.models import Membership
from accounts.people import person_facts
from surveys.dates import day, month_day
from surveys.language import gettext, said
from surveys.models import (
    Assignment,
    ChecklistEntry,
    GroupLetter,
    OwnField,
    Program,
    ProgramArea,
    ProtocolVersion,
    ReferenceCall,
    Route,
    SeasonWindow,
    Species,
    Stop,
    Substitute,
    WeatherStation,
    WetlandChange,
)
from surveys.programs.area import area_facts, area_in_words
from surveys.programs.assignments import windows_in_words
from surveys.programs.checklist import entry_facts
from surveys.programs.own_fields import field_facts
from surveys.programs.own_species import names_facts
from surveys.programs.routes import route_facts
from surveys.programs.setting_up import program_facts
from surveys.programs.sharing import sharing_facts
from surveys.programs.stops import stop_facts
from surveys.programs.versionfacts import version_facts
from surveys.protocol.values import MonthDay


@dataclass(frozen=True, kw_only=True)
class Kind:
    """`scope` is the lookup from an event to its program; `facts` says a row in words."""

    code: str
    label: str
    model: type[Model]
    scope: str
    facts: Callable[[Any], Facts]
    name: Callable[[Any], str]

    @property
    def events(self) -> type[Model]:
        return self.model.pgh_event_model

    def row(self, event: Model) -> Model:
        """The row as it stood after the event; before it was deleted, where it was."""
        fields = [field.attname for field in self.model._meta.concrete_fields]
        return self.model(**{name: getattr(event, name) for name in fields})

    def facts_of(self, event: Model) -> Facts:
        """Nothing, where what they speak of is gone."""
        try:
            return self.facts(self.row(event))
        except ObjectDoesNotExist:
            return {}

    def name_of(self, event: Model) -> str:
        try:
            return self.name(self.row(event))
        except ObjectDoesNotExist:
            return ""


def _program_facts(program: Program) -> Facts:
    weights = "; ".join(f"{name}: {weight}" for name, weight in program.region_weights.items())
    return {
        **program_facts(program),
        **sharing_facts(program),
        gettext("Weights of regions"): weights,
        gettext("Observers take free routes at once"): yes_or_no(program.routes_are_taken),
    }


def _person_facts(membership: Membership) -> Facts:
    return {**person_facts(membership), gettext("Member"): yes_or_no(membership.active)}


def _assignment_facts(assignment: Assignment) -> Facts:
    return {
        gettext("Route"): str(assignment.route),
        gettext("Observer"): assignment.observer.name,
        gettext("Season year"): str(assignment.season_year),
        gettext("Windows"): windows_in_words(assignment.windows),
    }


def _assignment_name(assignment: Assignment) -> str:
    return said(
        "{route}: {observer}, {year}",
        route=assignment.route.code,
        observer=assignment.observer.name,
        year=assignment.season_year,
    )


def _substitute_facts(substitute: Substitute) -> Facts:
    return {
        **_assignment_facts(substitute.assignment),
        gettext("Windows"): substitute.window,
        gettext("Substitute"): substitute.person.name,
    }


def _substitute_name(substitute: Substitute) -> str:
    return said(
        "{route}: {substitute} for {observer}, {year}",
        route=substitute.assignment.route.code,
        substitute=substitute.person.name,
        observer=substitute.assignment.observer.name,
        year=substitute.assignment.season_year,
    )


def _window_facts(window: SeasonWindow) -> Facts:
    def limit(value: object) -> str:
        return "" if value is None else f"{value} °{window.temperature_unit}"

    opens = MonthDay(month=window.opens_month, day=window.opens_day)
    closes = MonthDay(month=window.closes_month, day=window.closes_day)
    return {
        gettext("Survey window"): window.name,
        gettext("First night"): month_day(opens),
        gettext("Last night"): month_day(closes),
        gettext("Lowest air temperature"): limit(window.min_air_temperature),
        gettext("Lowest water temperature"): limit(window.min_water_temperature),
    }


def _station_facts(station: WeatherStation) -> Facts:
    return {gettext("Code"): station.code, gettext("Name"): station.name}


def _change_facts(change: WetlandChange) -> Facts:
    return {
        gettext("What changed"): change.get_kind_display(),
        gettext("From"): day(change.began),
        gettext("To"): day(change.ended) if change.ended else "",
        gettext("Note"): change.note,
    }


def _entry_name(entry: ChecklistEntry) -> str:
    """By the last name of the species, where it was deleted."""
    species = Species.objects.filter(pk=entry.species_id).first()
    if species is None:
        events = Species.pgh_event_model.objects.filter(pgh_obj_id=entry.species_id)
        return events.order_by("-pk").values_list("common_name", flat=True).first() or ""
    return species.name


def _letter_facts(letter: GroupLetter) -> Facts:
    return {
        gettext("Subject"): letter.subject,
        gettext("Group"): letter.get_group_display(),
        gettext("Region of the routes"): letter.region,
    }


def _reference_facts(reference: ReferenceCall) -> Facts:
    return {
        gettext("Species"): reference.species.name,
        gettext("Recorded by"): reference.by,
        gettext("From"): said("{seconds} s", seconds=f"{reference.begin_s:.1f}"),
        gettext("To"): said("{seconds} s", seconds=f"{reference.end_s:.1f}"),
        gettext("License"): reference.license,
        gettext("How the person who recorded it agreed"): reference.consent,
    }


def _stop_name(stop: Stop) -> str:
    return said("{route}, stop {stop}", route=stop.route.code, stop=stop.number)


KINDS = (
    Kind(
        code="program",
        label=gettext_lazy("Program details"),
        model=Program,
        scope="pgh_obj_id",
        facts=_program_facts,
        name=str,
    ),
    Kind(
        code="people",
        label=gettext_lazy("People"),
        model=Membership,
        scope="program",
        facts=_person_facts,
        name=lambda membership: membership.person.name,
    ),
    Kind(
        code="assignments",
        label=gettext_lazy("Assignments"),
        model=Assignment,
        scope="route__program",
        facts=_assignment_facts,
        name=_assignment_name,
    ),
    Kind(
        code="substitutes",
        label=gettext_lazy("Substitutes"),
        model=Substitute,
        scope="assignment__route__program",
        facts=_substitute_facts,
        name=_substitute_name,
    ),
    Kind(
        code="routes",
        label=gettext_lazy("Routes"),
        model=Route,
        scope="program",
        facts=route_facts,
        name=str,
    ),
    Kind(
        code="area",
        label=gettext_lazy("Program area"),
        model=ProgramArea,
        scope="program",
        facts=area_facts,
        name=lambda area: area_in_words(area),
    ),
    Kind(
        code="stops",
        label=gettext_lazy("Stops"),
        model=Stop,
        scope="route__program",
        facts=stop_facts,
        name=_stop_name,
    ),
    Kind(
        code="protocol",
        label=gettext_lazy("Protocol"),
        model=ProtocolVersion,
        scope="protocol__program",
        facts=version_facts,
        name=str,
    ),
    Kind(
        code="windows",
        label=gettext_lazy("Survey windows"),
        model=SeasonWindow,
        scope="version__protocol__program",
        facts=_window_facts,
        name=str,
    ),
    Kind(
        code="checklist",
        label=gettext_lazy("Checklist"),
        model=ChecklistEntry,
        scope="program",
        facts=entry_facts,
        name=_entry_name,
    ),
    Kind(
        code="own-species",
        label=gettext_lazy("Own species"),
        model=Species,
        scope="program",
        facts=names_facts,
        name=lambda species: species.common_name,
    ),
    Kind(
        code="reference-calls",
        label=gettext_lazy("Reference calls"),
        model=ReferenceCall,
        scope="program",
        facts=_reference_facts,
        name=lambda reference: reference.species.name,
    ),
    Kind(
        code="own-fields",
        label=gettext_lazy("Own fields"),
        model=OwnField,
        scope="program",
        facts=field_facts,
        name=lambda field: field.label,
    ),
    Kind(
        code="stations",
        label=gettext_lazy("Weather stations"),
        model=WeatherStation,
        scope="program",
        facts=_station_facts,
        name=str,
    ),
    Kind(
        code="wetlands",
        label=gettext_lazy("Changes of wetlands"),
        model=WetlandChange,
        scope="stop__route__program",
        facts=_change_facts,
        name=lambda change: said("{stop}: {change}", stop=_stop_name(change.stop), change=change),
    ),
    Kind(
        code="letters",
        label=gettext_lazy("Emails to groups"),
        model=GroupLetter,
        scope="program",
        facts=_letter_facts,
        name=str,
    ),
)
BY_CODE = {kind.code: kind for kind in KINDS}
