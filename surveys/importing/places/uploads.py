"""A file of routes and stops from its upload until it is brought in, and undone."""

from __future__ import annotations

import datetime as dt
import hashlib
import uuid
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.http import Http404
from django.utils import timezone

from accounts.access import Permission, require
from accounts.models import Membership
from surveys.importing.places import edits
from surveys.importing.places.columns import CODES, guess
from surveys.importing.places.drafts import Draft, make_draft
from surveys.importing.places.found import storable
from surveys.importing.places.plan_reading import read_draft
from surveys.importing.places.reading import PlacesFile, places_file, read_places
from surveys.language import gettext, said
from surveys.models import Program, RouteChoice, RouteImport
from surveys.programs.assignments import today_of
from surveys.programs.bring_in import RoutesRefusedError, bring_in, take_out
from surveys.programs.plan_matching import match
from surveys.programs.protocols import version_on
from surveys.programs.route_plan import Elsewhere, Plan, PlanOptions
from surveys.programs.stop_proposals import usual
from surveys.visits.media.quota import check_room

_LONGEST_NAME = 200


def store(member: Membership, *, file_name: str, content: bytes) -> RouteImport:
    """Keep what an uploaded file holds. Raises UnreadableFileError, NoRoomLeft, ValidationError
    where the program has no protocol yet."""
    require(member, Permission.MANAGE)
    check_room(member, len(content))
    protocol = member.program.protocols.order_by("name").first()
    if protocol is None:
        raise ValidationError(gettext("Set up a protocol first: every route follows one."))
    found = read_places(content)
    file = places_file(found)
    codes = guess(file.table)
    options = PlanOptions(protocol_id=protocol.pk, first_night=today_of(member.program))
    return RouteImport.objects.create(
        program=member.program,
        uploaded_by=member.person,
        file_name=storable(file_name)[:_LONGEST_NAME] or "routes",
        sha256=hashlib.sha256(content).hexdigest(),
        found=found,
        columns=_pairs(file, codes),
        draft=make_draft(file, codes, known_routes(member.program)),
        options=_plain(options),
    )


def import_of(member: Membership, import_id: uuid.UUID, *, lock: bool = False) -> RouteImport:
    """Raises Http404."""
    require(member, Permission.MANAGE)
    rows = RouteImport.objects.filter(program=member.program)
    if lock:
        rows = rows.select_for_update()
    row = rows.filter(pk=import_id).first()
    if row is None:
        raise Http404(gettext("There is no such import in this program."))
    return row


def file_of(row: RouteImport) -> PlacesFile:
    return places_file(row.found)


def codes_of(row: RouteImport) -> list[str]:
    return [code for _, code in row.columns]


def options_of(row: RouteImport) -> PlanOptions:
    kept = dict(row.options)
    return PlanOptions(
        **kept
        | {
            "first_night": dt.date.fromisoformat(kept["first_night"]),
            "elsewhere": Elsewhere(kept["elsewhere"]),
        }
    )


def known_routes(program: Program) -> dict[str, str]:
    """Codes and names of the program's routes, in small letters, with their codes."""
    known: dict[str, str] = {}
    for code, name in program.routes.order_by("-active", "code").values_list("code", "name"):
        for label in (f"{code} {name}", name):
            known.setdefault(label.casefold(), code)
    return known | {code.casefold(): code for code in program.routes.values_list("code", flat=True)}


def plan_of(row: RouteImport) -> Plan:
    """What would be brought in, with all that stands in the way."""
    routes, findings = read_draft(row.draft)
    return match(row.program, routes, options_of(row), findings)


# --- Changing the draft ----------------------------------------------------------------


@transaction.atomic
def choose_columns(member: Membership, import_id: uuid.UUID, codes: Sequence[str]) -> RouteImport:
    """What the columns mean. The draft is made from the file again, so corrections are lost."""
    row = _open(member, import_id)
    file = file_of(row)
    if len(codes) != len(file.table.headers) or not set(codes) <= CODES:
        raise ValidationError(gettext("Choose what each column means."))
    row.columns = _pairs(file, codes)
    row.draft = make_draft(file, codes, known_routes(row.program))
    row.revision += 1
    row.save(update_fields=["columns", "draft", "revision"])
    return row


@transaction.atomic
def change_draft(
    member: Membership,
    import_id: uuid.UUID,
    change: Callable[[Draft], None],
    *,
    revision: int | None = None,
) -> RouteImport:
    """Apply a change to the draft that was seen at `revision`.

    Raises ValidationError when somebody changed it since.
    """
    row = _open(member, import_id)
    if revision is not None and revision != row.revision:
        raise ValidationError(
            gettext(
                "Someone changed this import while you had the page open. What you typed is kept "
                "here. Check it, then save again."
            )
        )
    change(row.draft)
    row.revision += 1
    row.save(update_fields=["draft", "revision"])
    return row


def propose_stops(member: Membership, import_id: uuid.UUID) -> RouteImport:
    """Stops along the line of each route that has none, as the protocol asks. Raises
    ValidationError."""
    options = options_of(import_of(member, import_id))
    protocol = member.program.protocols.get(pk=options.protocol_id)
    spacing, most = usual(version_on(protocol, options.first_night))
    return change_draft(member, import_id, edits.propose_stops(spacing, most))


@transaction.atomic
def choose_options(member: Membership, import_id: uuid.UUID, options: PlanOptions) -> RouteImport:
    """Raises ValidationError by field."""
    row = _open(member, import_id)
    if not row.program.protocols.filter(pk=options.protocol_id).exists():
        raise ValidationError({"protocol": gettext("Choose a protocol of this program.")})
    if options.chosen not in RouteChoice.values:
        raise ValidationError({"chosen": gettext("Choose how the routes were chosen.")})
    row.options = _plain(options)
    row.save(update_fields=["options"])
    return row


def _open(member: Membership, import_id: uuid.UUID) -> RouteImport:
    row = import_of(member, import_id, lock=True)
    if row.committed_at is not None:
        raise ValidationError(said("“{name}” was imported already.", name=row.file_name))
    return row


# --- Bringing in and undoing -------------------------------------------------------------


@transaction.atomic
def commit(member: Membership, import_id: uuid.UUID) -> RouteImport:
    """All or nothing. Raises RoutesRefusedError."""
    row = import_of(member, import_id, lock=True)
    if row.committed_at is not None:
        raise RoutesRefusedError(said("“{name}” was imported already.", name=row.file_name))
    written = bring_in(member, lambda: plan_of(row))
    row.written = written.plain()
    row.committed_at = timezone.now()
    row.save(update_fields=["written", "committed_at"])
    return row


@transaction.atomic
def undo(member: Membership, import_id: uuid.UUID) -> RouteImport:
    """Raises RoutesRefusedError, and then changes nothing."""
    row = import_of(member, import_id, lock=True)
    if row.committed_at is None or row.undone_at is not None:
        raise RoutesRefusedError(gettext("There is nothing to undo."))
    take_out(member, row.written)
    row.undone_at = timezone.now()
    row.save(update_fields=["undone_at"])
    return row


@transaction.atomic
def discard(member: Membership, import_id: uuid.UUID) -> None:
    """Forget a file that was not imported. Raises RoutesRefusedError."""
    row = import_of(member, import_id, lock=True)
    if row.committed_at is not None:
        raise RoutesRefusedError(
            said("“{name}” was imported; it cannot be discarded.", name=row.file_name)
        )
    row.delete()


def _pairs(file: PlacesFile, codes: Sequence[str]) -> list[list[str]]:
    return [
        [storable(header), code] for header, code in zip(file.table.headers, codes, strict=True)
    ]


def _plain(options: PlanOptions) -> Mapping[str, Any]:
    return asdict(options) | {
        "first_night": options.first_night.isoformat(),
        "elsewhere": str(options.elsewhere),
    }
