"""The second observer of a visit: a member of the program, or a guest by name.

A member is stored as the person they are, so that renaming and erasing reach every visit. Of a
guest there is nothing but the name that the observer wrote down: it is shown to few
(`access.sees_guest`), and erased on request.
"""

from __future__ import annotations

import uuid
from collections import Counter
from collections.abc import Iterable, Mapping
from typing import Any

import pgtrigger
from django.apps import apps
from django.db import transaction
from django.db.models import F, Func, JSONField, Q, QuerySet, Value
from django.db.models.fields.json import KT
from django.db.models.functions import Trim
from django.utils.translation import gettext_noop

from accounts.access import PERMISSIONS, Permission, may, require
from accounts.models import Membership
from surveys import dates
from surveys.language import gettext, said
from surveys.models import Program, Submission, Visit
from surveys.visits.access import find_visit
from surveys.visits.exceptions import NotYours

GUEST, MEMBER = "second_observer", "second_member"
_SUBMISSIONS = "surveys.Submission:never_changes"
_ERASED = gettext_noop("name erased")


def companions_of(program: Program, *, observer_id: int) -> dict[int, str]:
    """Who may have come along with an observer: active members who survey, by person. Where two
    have one name, the day on which they joined tells them apart."""
    roles = [role for role, allowed in PERMISSIONS.items() if Permission.SURVEY in allowed]
    members = program.memberships.filter(active=True, role__in=roles, person__is_active=True)
    people = [
        row.person
        for row in members.exclude(person=observer_id)
        .select_related("person")
        .order_by("person__name", "person")
    ]
    shared = Counter(person.name for person in people)
    return {
        person.pk: person.name
        if shared[person.name] == 1
        else said(
            "{name}, joined {day}", name=person.name, day=dates.short_day(person.joined_at.date())
        )
        for person in people
    }


def names_of_companions(sheets: Iterable[Mapping[str, str]], program: Program) -> dict[str, str]:
    """Names of the members that sheets name as second observers, by what their cells say."""
    typed = {sheet.get(MEMBER, "").strip() for sheet in sheets}
    keys = [int(text) for text in typed if text.isascii() and text.isdecimal() and len(text) < 18]
    if not keys:
        return {}
    members = program.memberships.filter(person__in=keys).select_related("person")
    return {str(row.person_id): row.person.name for row in members}


def may_erase_guest(member: Membership, visit: Visit) -> bool:
    """Whether there is a guest's name that the member may erase."""
    is_theirs = visit.observer_id == member.person_id and may(member, Permission.SURVEY)
    name = visit.second_observer or visit.cells.get(GUEST, "").strip()
    return name not in ("", gettext(_ERASED)) and (is_theirs or may(member, Permission.MANAGE))


def guests_of(member: Membership) -> list[Visit]:
    """The latest visit with each guest of each observer, by name of the guest, to find those who
    want their name erased."""
    require(member, Permission.MANAGE)
    visits = Visit.objects.filter(route__program=member.program_id)
    named = visits.exclude(second_observer__in=("", gettext(_ERASED)))
    latest = named.order_by("second_observer", "observer", "-night", "pk")
    return list(latest.distinct("second_observer", "observer").select_related("observer", "route"))


@transaction.atomic
def erase_guest(member: Membership, visit_id: uuid.UUID | str) -> int:
    """Erase the name of a visit's guest from all visits of its observer in the program: sheets,
    submissions and history. Observers may do so for their own guests, coordinators for all.

    Who was erased counts as a guest without a name. What phones still hold, stored files and notes
    stay. The number of visits. Raises NotYours.
    """
    visit = find_visit(member, visit_id)
    if not may_erase_guest(member, visit):
        raise NotYours(gettext("There is no guest's name here that you may erase."))
    name = visit.second_observer or visit.cells[GUEST].strip()
    theirs = {"route__program": member.program_id, "observer": visit.observer_id}
    visits = _naming(name, Visit.objects.filter(**theirs)).order_by("pk")
    keys = list(visits.select_for_update(of=("self",)).values_list("pk", flat=True))
    erased = gettext(_ERASED)
    Visit.objects.filter(pk__in=keys, second_observer__iexact=name).update(second_observer=erased)
    _write_over(Visit.objects.filter(pk__in=keys), erased)
    with pgtrigger.ignore(_SUBMISSIONS):
        _write_over(Submission.objects.filter(visit__in=keys), erased)
    # Of drafts that were thrown away nothing but the history is left.
    history = apps.get_model("surveys", "VisitEvent").objects.filter(
        route__in=member.program.routes.values("pk"), observer=visit.observer_id
    )
    told = {*keys, *_naming(name, history).values_list("pgh_obj", flat=True)}
    events = history.filter(pgh_obj__in=told)
    _write_over(events, erased)
    events.exclude(second_observer="").update(second_observer=erased)
    return len(keys)


def _naming(name: str, rows: QuerySet[Any]) -> QuerySet[Any]:
    """Rows of visits with this guest, however the name is capitalized and whatever is around it."""
    typed = rows.alias(typed=Trim(KT(f"cells__{GUEST}")))
    return typed.filter(Q(second_observer__iexact=name) | Q(typed__iexact=name))


def _write_over(rows: QuerySet[Any], erased: str) -> None:
    """Whatever name stands in the cell of the guest: earlier spellings are the same person. In the
    history, null says that the cell was emptied."""
    rows.filter(cells__has_key=GUEST).exclude(**{f"cells__{GUEST}": None}).update(
        cells=Func(
            F("cells"),
            Value([GUEST]),
            Value(erased, output_field=JSONField()),
            function="jsonb_set",
            output_field=JSONField(),
        )
    )
