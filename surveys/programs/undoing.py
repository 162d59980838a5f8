"""Undoing an entry of the program's history, where that is safe.

Safe are the details of the program, a route's own details, and an assignment: nothing that was
surveyed is judged or counted by them. An undo goes through the verb of the change, so everything
that holds for a change holds for it, and it stands in the history like any other.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.core.exceptions import ObjectDoesNotExist, ValidationError
from django.db import transaction
from django.db.models import Model
from django.http import Http404

from accounts.access import Permission, require
from accounts.models import Membership
from surveys.language import gettext
from surveys.models import Assignment, Program, Route
from surveys.programs.assignments import assign, unassign
from surveys.programs.history import Entry
from surveys.programs.history_kinds import BY_CODE, Kind
from surveys.programs.routes import save_route
from surveys.programs.setting_up import change_facts

# By kind: the columns that an undo may set back, with the parameter of the verb.
_PROGRAM = {
    name: name
    for name in (
        "name",
        "region",
        "country_code",
        "time_zone",
        "temperature_unit",
        "distance_unit",
        "clock_style",
        "date_order",
        "contact_email",
        "emergency_number",
        "emergency_contact",
        "local_rules",
    )
} | {"calling_region_id": "calling_region"}
_ROUTE = {
    name: name for name in ("code", "name", "region", "stratum", "access_notes", "active", "chosen")
} | {"protocol_id": "protocol_id"}
_COLUMNS = {"program": _PROGRAM, "routes": _ROUTE}


def may_undo(entry: Entry) -> bool:
    """Whether an undo is offered. Whether it can still be done is told when it is asked for."""
    if entry.number != 1 or entry.event is None:
        return False
    if entry.kind == "assignments":
        return entry.act in ("insert", "delete")
    return entry.kind in _COLUMNS and entry.act == "update" and bool(entry.changes)


@transaction.atomic
def undo(member: Membership, kind_code: str, event_id: int) -> None:
    """Set back what an event changed. Raises Http404, and ValidationError with a sentence where
    it was changed again since, or where the change back is refused."""
    require(member, Permission.MANAGE)
    Program.objects.select_for_update().get(pk=member.program_id)
    kind = BY_CODE.get(kind_code)
    if kind is None or kind_code not in (*_COLUMNS, "assignments"):
        raise Http404
    events = kind.events.objects.filter(**{kind.scope: member.program_id})
    event = events.filter(pk=event_id).first()
    if event is None:
        raise Http404
    if kind_code == "assignments":
        _undo_assignment(member, kind.row(event), event.pgh_label)
    else:
        _undo_change(member, kind, event)


def _undo_assignment(member: Membership, was: Assignment, label: str) -> None:
    now = Assignment.objects.filter(
        route=was.route_id, observer=was.observer_id, season_year=was.season_year
    ).first()
    if (label == "insert") != (now is not None):
        raise _changed_since()
    if now is not None:
        unassign(member, now.pk)
    else:
        assign(
            member,
            route_id=was.route_id,
            observer_id=was.observer_id,
            season_year=was.season_year,
            windows=was.windows,
        )


def _undo_change(member: Membership, kind: Kind, event: Model) -> None:
    before = (
        kind.events.objects.filter(pgh_obj_id=event.pgh_obj_id, pk__lt=event.pk)
        .order_by("-pk")
        .first()
    )
    now = kind.model.objects.filter(pk=event.pgh_obj_id).first()
    if event.pgh_label != "update" or before is None or now is None:
        raise _changed_since()
    columns = _COLUMNS[kind.code]
    changed = [name for name in columns if getattr(before, name) != getattr(event, name)]
    if not changed or any(getattr(now, name) != getattr(event, name) for name in changed):
        raise _changed_since()
    wanted = {name: getattr(before if name in changed else now, name) for name in columns}
    _write(member, kind, now, {columns[name]: value for name, value in wanted.items()})


def _write(member: Membership, kind: Kind, now: Model, facts: Mapping[str, Any]) -> None:
    if isinstance(now, Route):
        save_route(member, route_id=now.pk, **facts)
        return
    region = type(now)._meta.get_field("calling_region").remote_field.model
    try:
        chosen = region.objects.get(pk=facts["calling_region"]) if facts["calling_region"] else None
    except ObjectDoesNotExist as gone:
        raise _changed_since() from gone
    change_facts(member, **{**facts, "calling_region": chosen})


def _changed_since() -> ValidationError:
    return ValidationError(gettext("This was changed again since. Change it on its own page."))
