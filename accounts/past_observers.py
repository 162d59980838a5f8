"""Observers of the past: people of a program who have no account.

Old visits are credited to them by name. They are members who were never active, so that no right
follows from them, and have no address. Who joins by an invitation to one of them takes over their
visits.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any

import pghistory
import pgtrigger
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Count, Q, QuerySet
from django.http import Http404
from django.utils import timezone
from pghistory.models import Context

from accounts.access import Permission, require
from accounts.models import Membership, Person, Role
from surveys.language import gettext, gettext_noop, said
from surveys.models import Program, ReviewStep, Source, Step, Visit

LONGEST_NAME = 120
# In the context of the history.
_MERGED, _INTO = "merged", "merged_into"
_BATCH = 1000
# What the history of a visit says once it is credited to another person.
_CREDITED = gettext_noop("Observer: {name}, before {before}.")
_CREDITED_NOTE = re.compile(
    re.escape(_CREDITED)
    .replace(r"\{name\}", "(?P<name>.+)")
    .replace(r"\{before\}", "(?P<before>.+)")
)
_STEPS = "surveys.ReviewStep:never_changes"


def pseudonym(person: Person) -> str:
    """The name of a person who was erased on request."""
    return said("Observer {number}", number=person.pk)


def is_erased(person: Person) -> bool:
    return not person.has_account and person.name == pseudonym(person)


def past_observers_of(member: Membership) -> QuerySet[Membership]:
    """By name, with the number of their visits as `visit_count`."""
    require(member, Permission.MANAGE)
    return (
        _members(member.program)
        .filter(person__email=None)
        .annotate(
            visit_count=Count(
                "person__visits", filter=Q(person__visits__route__program=member.program)
            )
        )
        .order_by("person__name", "pk")
    )


def add_past_observers(member: Membership, names: Iterable[str]) -> Mapping[str, Person]:
    """A person without an account for each name; by name. Call it in a transaction."""
    require(member, Permission.MANAGE)
    people = [
        Person(name=name[:LONGEST_NAME], email=None, is_active=False)
        for name in dict.fromkeys(names)
    ]
    for person in people:
        person.set_unusable_password()
    Person.objects.bulk_create(people, batch_size=_BATCH)
    Membership.objects.bulk_create(
        [
            Membership(person=person, program=member.program, role=Role.OBSERVER, active=False)
            for person in people
        ],
        batch_size=_BATCH,
    )
    return {person.name: person for person in people}


@transaction.atomic
def rename(member: Membership, membership_id: int, name: str) -> Person:
    """Raises Http404, ValidationError."""
    require(member, Permission.MANAGE)
    person = _locked(member, membership_id).person
    name = " ".join(name.split())
    if not name or len(name) > LONGEST_NAME:
        raise ValidationError({"name": gettext("Write a name of at most 120 characters.")})
    person.name = name
    person.save(update_fields=["name"])
    return person


@transaction.atomic
def merge(member: Membership, membership_id: int, *, into: int) -> int:
    """All visits of an observer of the past are another person's; the first is gone.

    The number of visits. Raises Http404, ValidationError.
    """
    require(member, Permission.MANAGE)
    merged = _locked(member, membership_id)
    kept = _other(member, membership_id, into)
    number = _credit(_visits_of(member.program, merged.person), kept.person, by=member.person)
    _stand_in(member.program, merged.person, kept.person)
    _delete(merged.person, into=kept)
    return number


@transaction.atomic
def hand_over(member: Membership, membership_id: int, *, into: int) -> int:
    """The visits that came from files and stand under one member are another person's.

    What somebody surveyed with an account of their own stays theirs. The number of visits. Raises
    Http404, ValidationError.
    """
    require(member, Permission.MANAGE)
    giver = _members(member.program).filter(pk=membership_id).first()
    if giver is None:
        raise Http404(gettext("There is no such person in this program."))
    _check_not_erased(giver.person)
    taker = _other(member, membership_id, into)
    visits = _visits_of(member.program, giver.person).filter(source=Source.IMPORT)
    return _credit(visits, taker.person, by=member.person)


def take_over(program: Program, past: Person, person: Person) -> None:
    """Who joined as an observer of the past with an account that was there already. The caller
    knows by the invitation that they are the same, and holds a transaction."""
    if past.has_account or past == person:
        return
    _credit(_visits_of(program, past), person, by=person)
    _stand_in(program, past, person)
    _delete(past, into=program.memberships.filter(person=person).first())


def _delete(past: Person, *, into: Membership | None) -> None:
    """The history keeps who was merged into whom, until the latter is erased."""
    told = {} if into is None else {_MERGED: past.name, _INTO: into.pk}
    with pghistory.context(**told):
        past.delete()


def merged_in_words(program_id: int, metadata: Mapping[str, Any]) -> str:
    """Of the context of a change; empty where it merged nobody."""
    name, into = metadata.get(_MERGED), metadata.get(_INTO)
    if not name:
        return ""
    kept = Membership.objects.filter(program=program_id, pk=into).select_related("person").first()
    if kept is None:
        return str(name)
    return said("{name}, merged into {other}", name=name, other=kept.person.name)


def forget_merged(members: Iterable[Membership]) -> None:
    """The names of those who were merged into these."""
    contexts = Context.objects.filter(metadata__merged_into__in=[member.pk for member in members])
    for context in contexts:
        del context.metadata[_MERGED]
        context.save(update_fields=["metadata"])


def forget_credits(members: Iterable[Membership], name: str) -> None:
    """The `name` that these had until now, and those that were merged into them, in what
    `_credit` wrote: whoever is no longer of the program goes by the new name."""
    for member in members:
        steps = ReviewStep.objects.filter(
            Q(note__contains=name) | Q(visit__observer=member.person_id),
            visit__route__program=member.program_id,
            step=Step.CORRECTED,
        )
        known = set(_members(member.program).values_list("person__name", flat=True)) - {name}
        for step in steps:
            written = _CREDITED_NOTE.fullmatch(step.note)
            if written is None:
                continue
            names = {
                at: told if told in known else member.person.name
                for at, told in written.groupdict().items()
            }
            with pgtrigger.ignore(_STEPS):
                ReviewStep.objects.filter(pk=step.pk).update(note=said(_CREDITED, **names))


def check_past_observer(program: Program, membership_id: int) -> Person:
    """Whom an invitation is for. Raises Http404, ValidationError."""
    return _of_the_past(_members(program), membership_id).person


def _members(program: Program) -> QuerySet[Membership]:
    return program.memberships.select_related("person")


def _locked(member: Membership, membership_id: int) -> Membership:
    return _of_the_past(_members(member.program).select_for_update(), membership_id)


def _of_the_past(members: QuerySet[Membership], membership_id: int) -> Membership:
    found = members.filter(pk=membership_id).first()
    if found is None:
        raise Http404(gettext("There is no such person in this program."))
    if found.person.has_account:
        raise ValidationError(
            said("{name} has an account, so this is not for you to do.", name=found.person.name)
        )
    _check_not_erased(found.person)
    return found


def _check_not_erased(person: Person) -> None:
    if is_erased(person):
        raise ValidationError(
            gettext("This person was erased on request. Their visits stay under the number.")
        )


def _other(member: Membership, membership_id: int, other_id: int) -> Membership:
    found = _members(member.program).filter(pk=other_id).first()
    if found is None or other_id == membership_id:
        raise ValidationError({"into": gettext("Choose another person of this program.")})
    return found


def _visits_of(program: Program, person: Person) -> QuerySet[Visit]:
    return Visit.objects.filter(route__program=program, observer=person)


def _stand_in(program: Program, past: Person, person: Person) -> None:
    """Who came along with others under the first name did so as the second person."""
    shared = Visit.objects.filter(route__program=program, second_member=past)
    shared.filter(observer=person).update(second_member=None)
    shared.update(second_member=person)


def _credit(visits: QuerySet[Visit], person: Person, *, by: Person) -> int:
    """The visits are the person's from now on; the history of each says so."""
    rows = list(
        visits.select_for_update(of=("self",))
        .order_by("pk")
        .values_list("pk", "revision", "observer__name")
    )
    now = timezone.now()
    Visit.objects.filter(pk__in=[pk for pk, _, _ in rows]).update(observer=person, changed_at=now)
    ReviewStep.objects.bulk_create(
        [
            ReviewStep(
                visit_id=pk,
                step=Step.CORRECTED,
                by=by,
                at=now,
                revision=revision,
                note=said(_CREDITED, name=person.name, before=before),
            )
            for pk, revision, before in rows
        ],
        batch_size=_BATCH,
    )
    return len(rows)
