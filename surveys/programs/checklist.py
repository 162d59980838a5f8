"""Which species a program listens for. A species is never deleted from the list:
it is listed until a night, so that silence before stays a zero."""

import datetime as dt
from dataclasses import dataclass

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import F, Func, Max, Q, QuerySet, TextField, Value
from django.shortcuts import get_object_or_404

from accounts.access import (
    Permission,
    require,
)
from accounts.edit_conflicts import (
    Facts,
    Seen,
    check_seen,
)
from accounts.models import Membership
from surveys.dates import day, month_day
from surveys.language import gettext, said
from surveys.models import (
    ChecklistEntry,
    Program,
    Sensitivity,
    Species,
    Visit,
    VisitState,
)
from surveys.protocol.values import MonthDay

MOST_FOUND = 30


@dataclass(frozen=True, kw_only=True)
class Listing:
    """How a species is listed. `season` is None when it may call at any time; its
    first day may follow its last (the season then crosses New Year)."""

    season: tuple[MonthDay, MonthDay] | None = None
    sensitivity: int = Sensitivity.OPEN
    listed_from: dt.date | None = None
    listed_until: dt.date | None = None


def entries_of(program: Program) -> QuerySet[ChecklistEntry]:
    return program.checklist.select_related("species").order_by("order", "pk")


def entry_of(program: Program, entry_id: int) -> ChecklistEntry:
    """Raises Http404."""
    return get_object_or_404(entries_of(program), pk=entry_id)


def entry_facts(entry: ChecklistEntry) -> Facts:
    """What the forms of an entry show of it."""
    begins, ends = entry.calling_season or (None, None)
    return {
        gettext("Calls from"): month_day(begins) if begins else "",
        gettext("Calls until"): month_day(ends) if ends else "",
        gettext("Sensitivity"): entry.get_sensitivity_display(),
        gettext("Listed from"): day(entry.listed_from) if entry.listed_from else "",
        gettext("Listed until"): day(entry.listed_until) if entry.listed_until else "",
    }


def search_catalog(program: Program, text: str) -> list[Species]:
    """Species that are not on the list yet, whose present or former names hold every word."""
    names = Func(F("synonyms"), Value(" "), function="array_to_string", output_field=TextField())
    species = (
        Species.objects.known_to(program)
        .annotate(former_names=names)
        .exclude(checklist_entries__program=program)
    )
    for word in text.split():
        species = species.filter(
            Q(common_name__icontains=word)
            | Q(scientific_name__icontains=word)
            | Q(former_names__icontains=word)
        )
    return list(species.order_by("common_name")[:MOST_FOUND])


def first_night_to_list(program: Program, today: dt.date) -> dt.date | None:
    """Where a new listing begins: with the program (None) before its first visit,
    today afterwards, since nobody listened for the species until now."""
    visited = Visit.objects.filter(route__program=program).exists()
    return today if visited else None


def visits_between(program: Program, first: dt.date | None, until: dt.date) -> int:
    """Visits on which silence becomes a zero when a listing begins on the night `first`, or with
    the program, and not only on `until`."""
    visits = Visit.objects.filter(route__program=program, night__lt=until)
    visits = visits.exclude(state__in=[VisitState.DRAFT, VisitState.SET_ASIDE])
    return (visits.filter(night__gte=first) if first else visits).count()


def _check(listing: Listing) -> None:
    first, last = listing.listed_from, listing.listed_until
    if first and last and last < first:
        raise ValidationError(
            {"listed_until": gettext("The last night on the list is before the first.")}
        )


def _check_extension(entry: ChecklistEntry, listed_until: dt.date | None) -> None:
    """Lengthening the listing would turn silence on visits made meanwhile into zeros,
    although nobody was asked to listen for the species."""
    if entry.listed_until is None or listed_until == entry.listed_until:
        return
    unlisted_visits = Visit.objects.filter(
        route__program=entry.program_id, night__gt=entry.listed_until
    )
    if listed_until:
        unlisted_visits = unlisted_visits.filter(night__lte=listed_until)
    first = unlisted_visits.order_by("night").values_list("night", flat=True).first()
    if first:
        raise ValidationError(
            {
                "listed_until": said(
                    "{species} was off the list when a visit was made on {day}. Silence on "
                    "that visit is not a zero, so the listing cannot start earlier.",
                    species=entry.species,
                    day=day(first),
                )
            }
        )


def _write(entry: ChecklistEntry, listing: Listing) -> ChecklistEntry:
    begins, ends = listing.season or (None, None)
    entry.calls_from_month = begins.month if begins else None
    entry.calls_from_day = begins.day if begins else None
    entry.calls_to_month = ends.month if ends else None
    entry.calls_to_day = ends.day if ends else None
    entry.sensitivity = listing.sensitivity
    entry.listed_from, entry.listed_until = listing.listed_from, listing.listed_until
    entry.full_clean()
    entry.save()
    return entry


def _locked_entry(member: Membership, entry_id: int) -> ChecklistEntry:
    return get_object_or_404(
        ChecklistEntry.objects.select_for_update(of=("self",)).select_related("species"),
        program=member.program,
        pk=entry_id,
    )


@transaction.atomic
def add_species(member: Membership, species_code: str, listing: Listing) -> ChecklistEntry:
    """Put a species of the catalog, or one of the program's own, at the end of the list."""
    require(member, Permission.MANAGE)
    program = Program.objects.select_for_update().get(pk=member.program_id)
    species = get_object_or_404(Species.objects.known_to(program), code=species_code)
    if species.is_silent:
        raise ValidationError(
            said(
                "{species} gives no call. On the checklist, silence would count as a zero for it, "
                "although no one can hear it.",
                species=species,
            )
        )
    _check(listing)
    if program.checklist.filter(species=species).exists():
        raise ValidationError(said("{species} is on the checklist already.", species=species))
    last = program.checklist.aggregate(last=Max("order"))["last"] or 0
    return _write(ChecklistEntry(program=program, species=species, order=last + 1), listing)


@transaction.atomic
def change_entry(
    member: Membership, entry_id: int, listing: Listing, *, seen: Seen | None = None
) -> ChecklistEntry:
    """List a species differently. Raises ValidationError by field, EditConflict."""
    require(member, Permission.MANAGE)
    entry = _locked_entry(member, entry_id)
    check_seen(member, seen, entry_facts(entry), [entry.events.all()])
    _check(listing)
    _check_extension(entry, listing.listed_until)
    return _write(entry, listing)


@transaction.atomic
def take_off(
    member: Membership, entry_id: int, *, listed_until: dt.date, seen: Seen | None = None
) -> ChecklistEntry:
    """List a species until a night. What was recorded before stays as it is.

    Raises ValidationError by field, EditConflict.
    """
    require(member, Permission.MANAGE)
    entry = _locked_entry(member, entry_id)
    check_seen(member, seen, entry_facts(entry), [entry.events.all()])
    if entry.listed_from and listed_until < entry.listed_from:
        raise ValidationError(
            {
                "listed_until": said(
                    "{species} is listed from {day}. The last night cannot be before that.",
                    species=entry.species,
                    day=day(entry.listed_from),
                )
            }
        )
    _check_extension(entry, listed_until)
    entry.listed_until = listed_until
    entry.save()
    return entry


@transaction.atomic
def move_entry(member: Membership, entry_id: int, *, up: bool) -> ChecklistEntry:
    """Swap an entry with its neighbor; at the end of the list nothing happens."""
    require(member, Permission.MANAGE)
    rows = list(
        ChecklistEntry.objects.select_for_update()
        .filter(program=member.program)
        .order_by("order", "pk")
    )
    entry = get_object_or_404(ChecklistEntry, program=member.program, pk=entry_id)
    place = rows.index(entry)
    other = place - 1 if up else place + 1
    if 0 <= other < len(rows):
        rows[place], rows[other] = rows[other], rows[place]
    for order, row in enumerate(rows, start=1):
        row.order = order
    ChecklistEntry.objects.bulk_update(rows, ["order"])
    return entry
