"""Noting what was done to the wetland at a stop, and taking a note back."""

from __future__ import annotations

import datetime as dt

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import QuerySet
from django.shortcuts import get_object_or_404

from accounts.access import Permission, require
from accounts.models import Membership
from surveys.dates import day
from surveys.language import gettext, said
from surveys.models import ChangeKind, Program, Stop, WetlandChange
from surveys.programs.assignments import today_of

EARLIEST = dt.date(1900, 1, 1)


def changes_at(stop: Stop) -> QuerySet[WetlandChange]:
    """What was done to the wetland at a stop, the latest first."""
    return stop.changes.select_related("noted_by").order_by("-began", "-pk")


def changes_of(program: Program) -> QuerySet[WetlandChange]:
    """What was done to the wetlands of a program, stop by stop."""
    return WetlandChange.objects.filter(stop__route__program=program).order_by(
        "stop__route__code", "stop__number", "stop", "began", "pk"
    )


def first_nights_after(program: Program) -> dict[str, dict[int, int]]:
    """By kind and stop, the first night after the first change of that kind, as an ordinal day."""
    nights: dict[str, dict[int, int]] = {}
    for change in changes_of(program):
        after = (change.ended or change.began).toordinal() + 1
        nights.setdefault(change.kind, {}).setdefault(change.stop_id, after)
    return nights


@transaction.atomic
def note_change(
    member: Membership,
    stop_id: int,
    *,
    kind: str,
    began: dt.date,
    ended: dt.date | None = None,
    note: str = "",
) -> WetlandChange:
    """Write down that the wetland at a stop was changed. Raises ValidationError by field."""
    require(member, Permission.MANAGE)
    stop = get_object_or_404(
        Stop.objects.select_for_update(), route__program=member.program, pk=stop_id
    )
    _check(member.program, stop, kind, began, ended)
    change = WetlandChange(
        stop=stop, kind=kind, began=began, ended=ended, note=note.strip(), noted_by=member.person
    )
    change.full_clean(validate_constraints=False)
    change.save()
    return change


def _check(program: Program, stop: Stop, kind: str, began: dt.date, ended: dt.date | None) -> None:
    today = today_of(program)
    if began < EARLIEST:
        raise ValidationError({"began": gettext("Check the year: it is before 1900.")})
    for field, on in (("began", began), ("ended", ended)):
        if on is not None and on > today:
            raise ValidationError(
                {field: gettext("This day is still to come. Note the change once it was made.")}
            )
    if ended is not None and ended < began:
        raise ValidationError(
            {"ended": said("It began on {day}. It cannot end before that.", day=day(began))}
        )
    if stop.changes.filter(kind=kind, began=began).exists():
        raise ValidationError(
            {
                "began": said(
                    "“{kind}” on {day} is noted already. Delete it first if its dates or its note "
                    "are wrong.",
                    kind=ChangeKind(kind).label,
                    day=day(began),
                )
            }
        )


@transaction.atomic
def delete_change(member: Membership, change_id: int) -> WetlandChange:
    """Take back a note of a change."""
    require(member, Permission.MANAGE)
    change = get_object_or_404(
        WetlandChange.objects.select_for_update(of=("self",)).select_related("stop"),
        stop__route__program=member.program,
        pk=change_id,
    )
    change.delete()
    return change
