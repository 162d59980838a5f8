"""A program's own species: those that it listens for and the catalog does not have.

Names move. A species that is renamed keeps its former names as synonyms, so that old sheets and
files still find it. One that is split becomes a joint entry of its parts: nobody can say of an old
record which of them it was.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q, QuerySet, TextField
from django.db.models.functions import Cast
from django.shortcuts import get_object_or_404
from django.utils.text import slugify

from accounts.access import Permission, require
from accounts.edit_conflicts import Facts, Seen, check_seen
from accounts.models import Membership
from surveys.language import gettext, said
from surveys.models import (
    CallIndex,
    ChecklistEntry,
    JointMember,
    Program,
    Recording,
    ReferenceCall,
    Sighting,
    Species,
    StoredFinding,
    Submission,
    Visit,
)
from surveys.programs.checklist import Listing, add_species

# Between the name and the program in the code of an own species. No code of the catalog has it.
_BEFORE_PROGRAM = "--"
_CODE_LENGTH = 80
_NAME_LENGTH = 120
# Joined by slashes in the names of joint entries.
_SCIENTIFIC = re.compile(r"[^\W\d_]+([ .’'/-]+[^\W\d_]+)*\.?")


@dataclass(frozen=True, kw_only=True)
class Names:
    """What a coordinator says of a species. `members` are codes: with them it is a joint entry."""

    scientific_name: str
    common_name: str
    synonyms: tuple[str, ...] = ()
    call: str = ""
    note: str = ""
    members: frozenset[str] = frozenset()


def own_species_of(program: Program) -> QuerySet[Species]:
    return program.own_species.prefetch_related("members").order_by("common_name")


def own_species_by_code(program: Program, code: str) -> Species:
    """Raises Http404."""
    return get_object_or_404(own_species_of(program), code=code)


def possible_members(program: Program) -> list[Species]:
    """Species that a joint entry of the program may be made of: those of the checklist and its own,
    by name."""
    return list(
        Species.objects.known_to(program)
        .filter(Q(checklist_entries__program=program) | Q(program=program), is_complex=False)
        .distinct()
        .order_by("common_name")
    )


def names_facts(species: Species) -> Facts:
    """What the form of an own species shows of it."""
    members = species.members.order_by("common_name") if species.is_complex else ()
    return {
        gettext("Scientific name"): species.scientific_name,
        gettext("Common name"): species.common_name,
        gettext("Former and other names"): ", ".join(species.synonyms),
        gettext("Call"): species.call,
        gettext("Note"): species.note,
        gettext("Joint entry for"): ", ".join(member.name for member in members),
    }


@transaction.atomic
def add_own_species(member: Membership, names: Names, listing: Listing) -> ChecklistEntry:
    """Add a species that the catalog does not have, and put it on the checklist.

    Raises ValidationError by field.
    """
    require(member, Permission.MANAGE)
    program = Program.objects.select_for_update(of=("self",)).get(pk=member.program_id)
    species = Species(program=program, code=_new_code(program, names.scientific_name))
    _write(species, names)
    return add_species(member, species.code, listing)


@transaction.atomic
def change_own_species(
    member: Membership, code: str, names: Names, *, seen: Seen | None = None
) -> Species:
    """Rename, describe or split a species. A former scientific name stays as a synonym.

    Raises ValidationError by field, EditConflict.
    """
    require(member, Permission.MANAGE)
    Program.objects.select_for_update(of=("self",)).get(pk=member.program_id)
    species = own_species_by_code(member.program, code)
    check_seen(member, seen, names_facts(species), [species.events.all()])
    former = species.scientific_name
    if former != names.scientific_name and former not in names.synonyms:
        names = replace(names, synonyms=(*names.synonyms, former))
    return _write(species, names)


@transaction.atomic
def delete_own_species(member: Membership, code: str) -> Species:
    """Delete a species that nothing uses, with its place on the checklist.

    Raises Http404, ValidationError.
    """
    require(member, Permission.MANAGE)
    Program.objects.select_for_update(of=("self",)).get(pk=member.program_id)
    species = own_species_by_code(member.program, code)
    _check_unused(species)
    species.checklist_entries.all().delete()
    species.delete()
    return species


def _check_unused(species: Species) -> None:
    """A visit uses a species when it names it, or was made while it was listed: then silence is a
    zero for it."""
    joint = species.joint_entries.first()
    if joint is not None:
        raise ValidationError(
            said(
                "{species} is part of the joint entry {joint}. Take it out there first.",
                species=species,
                joint=joint,
            )
        )
    visits = Visit.objects.filter(route__program=species.program)
    listed = [
        visits.filter(night__gte=entry.listed_from or dt.date.min).filter(
            night__lte=entry.listed_until or dt.date.max
        )
        for entry in species.checklist_entries.all()
    ]
    if any(made.exists() for made in listed):
        raise ValidationError(
            said(
                "Visits were made while {species} was on the checklist, so it cannot be deleted. "
                "Remove it from the checklist instead: then it is no longer asked for.",
                species=species,
            )
        )
    if _is_named(species, visits):
        raise ValidationError(
            said(
                "Visits name {species}, so it cannot be deleted. Remove it from the checklist "
                "instead: then it is no longer asked for.",
                species=species,
            )
        )


def _is_named(species: Species, visits: QuerySet[Visit]) -> bool:
    """In a row of a visit, or on a sheet as it stands or was submitted."""
    rows = (CallIndex, Sighting, StoredFinding, Recording, ReferenceCall)
    if any(model.objects.filter(species=species).exists() for model in rows):
        return True
    cell = f'.calls.{species.code}"'
    submitted = Submission.objects.filter(visit__in=visits)
    return any(
        sheets.annotate(typed=Cast("cells", TextField())).filter(typed__contains=cell).exists()
        for sheets in (visits, submitted)
    )


def _new_code(program: Program, scientific_name: str) -> str:
    """A code that no other program can have: its own slug ends it."""
    end = _BEFORE_PROGRAM + program.slug
    base = slugify(scientific_name)[: _CODE_LENGTH - len(end) - 3].strip("-") or "species"
    taken = set(program.own_species.values_list("code", flat=True))
    code, number = base + end, 1
    while code in taken:
        number += 1
        code = f"{base}-{number}{end}"
    return code


def _write(species: Species, names: Names) -> Species:
    names = replace(names, synonyms=tuple(_without_current(names)))
    _check_spelling(names)
    _check_unlike_others(species, names)
    members = _check_members(species, names.members)
    species.scientific_name, species.common_name = names.scientific_name, names.common_name
    species.synonyms, species.call, species.note = list(names.synonyms), names.call, names.note
    species.is_complex = bool(members)
    species.full_clean()
    species.save()
    species.members.set(members)
    return species


def _without_current(names: Names) -> Iterator[str]:
    """The synonyms, each once, without what is a current name."""
    known = {names.scientific_name.casefold(), names.common_name.casefold()}
    for synonym in names.synonyms:
        if synonym.casefold() not in known:
            known.add(synonym.casefold())
            yield synonym


def _check_spelling(names: Names) -> None:
    if not _SCIENTIFIC.fullmatch(names.scientific_name):
        raise ValidationError(
            {
                "scientific_name": gettext(
                    "A scientific name has letters only, such as “Genus species”. Leave out author "
                    "and year."
                )
            }
        )
    too_long = [name for name in names.synonyms if len(name) > _NAME_LENGTH]
    if too_long:
        raise ValidationError(
            {
                "synonyms": said(
                    "“{name} …” is longer than {most} characters. Write each name on a line of its "
                    "own.",
                    name=too_long[0][:40],
                    most=_NAME_LENGTH,
                )
            }
        )


def _check_unlike_others(species: Species, names: Names) -> None:
    """No current name of another species, since a name has to lead to one species. Former names
    may be shared: that is what a split leaves."""
    current: dict[str, Species] = {}
    for other in Species.objects.known_to(species.program).exclude(pk=species.pk):
        for name in (other.scientific_name, other.common_name, *other.names.values()):
            current[name.casefold()] = other
    typed = {
        "scientific_name": [names.scientific_name],
        "common_name": [names.common_name],
        "synonyms": names.synonyms,
    }
    for field, texts in typed.items():
        for text in texts:
            other = current.get(text.casefold())
            if other is not None:
                raise ValidationError({field: _taken(text, other)})


def _taken(text: str, other: Species) -> str:
    return said(
        "“{name}” is the name of {species} ({scientific}). Add that species to the checklist, or "
        "enter another name.",
        name=text,
        species=other.name,
        scientific=other.scientific_name,
    )


def _check_members(species: Species, codes: Collection[str]) -> list[Species]:
    """The members as rows. What was recorded under a name can become less certain, not more."""
    before = set(species.members.values_list("code", flat=True)) if species.pk else set()
    possible = {one.code: one for one in possible_members(species.program) if one != species}
    # A member may have left the checklist.
    possible |= {one.code: one for one in species.members.all()} if species.pk else {}
    if unknown := set(codes) - set(possible):
        raise _members_error(
            said(
                "These cannot be members: {codes}. Add them to the checklist first.",
                codes=", ".join(sorted(unknown)),
            )
        )
    if len(codes) == 1:
        raise _members_error(gettext("A joint entry has at least two members."))
    if codes and JointMember.objects.filter(member=species.pk).exists():
        raise _members_error(
            gettext("This species is a member of a joint entry, so it cannot become one.")
        )
    if before - set(codes) and CallIndex.objects.filter(species=species).exists():
        raise _members_error(
            gettext(
                "Calls were recorded under this name. They may have been any of its members, so "
                "no member can be removed."
            )
        )
    return [possible[code] for code in codes]


def _members_error(message: str) -> ValidationError:
    return ValidationError({"members": message})
