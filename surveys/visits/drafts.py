"""Starting a visit and filling in its sheet, until it is submitted."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from django.db import transaction

from accounts.access import (
    Permission,
    require,
)
from accounts.models import Membership
from surveys.language import gettext, said
from surveys.models import (
    ProtocolVersion,
    Route,
    Source,
    Visit,
    VisitState,
)
from surveys.programs.protocols import version_on
from surveys.protocol.seasons import (
    season_year,
    window_of,
)
from surveys.visits.access import (
    EDITABLE,
    check_revision,
    check_state,
    lock_own_visit,
)
from surveys.visits.discarded import (
    check_not_discarded,
    lock_draft_id,
    note_discarded,
)
from surveys.visits.exceptions import (
    NightUnusable,
    NoProtocolInForce,
    NotYours,
    OtherRoute,
    SheetTooLarge,
)
from surveys.visits.judging import judge_sheet
from surveys.visits.loading import (
    protocol_values,
)
from surveys.visits.media.files import delete_files_on_commit
from surveys.visits.media.recordings import delete_recording_files_on_commit
from surveys.visits.sheet.cells import (
    MAX_ADDRESS_LENGTH,
    MAX_CELLS,
    MAX_TEXT_LENGTH,
    CellChange,
    Conflict,
    merge,
    storable,
)
from surveys.visits.sheet.reader import typed_night
from surveys.visits.sheet.texts import (
    FIRST_YEAR,
    LAST_YEAR,
)
from surveys.visits.telling import ToldFinding

_NEW_REVISION = 1


@dataclass(frozen=True, kw_only=True)
class Saved:
    """Result of a change: the visit as it is now, the findings on its sheet, and the cells
    that were not changed because another device had filled them in the meantime."""

    visit: Visit
    findings: tuple[ToldFinding, ...]
    conflicts: tuple[Conflict, ...]


@transaction.atomic
def start_visit(
    member: Membership,
    *,
    route: Route,
    night: dt.date,
    visit_id: uuid.UUID | None = None,
    source: str = Source.PAPER,
    carried_version_id: int | None = None,
    carried_stops: Mapping[str, int] = MappingProxyType({}),
    recovers: dt.datetime | None = None,
) -> Visit:
    """Start a draft, judged by the protocol version in force on the night.

    `carried_version_id` is the version that a phone took along; it is used instead if the
    program still has it. `carried_stops` are the stops that it took along, by number. Calling this
    again with the same `visit_id` returns the same visit, so a retry from a phone never creates a
    second one. A discarded draft is created again only if `recovers` is the time at which it was
    discarded.

    Raises NotYours, DraftDiscarded, NightUnusable, NoProtocolInForce.
    """
    require(member, Permission.SURVEY)
    if route.program_id != member.program_id:
        raise NotYours(gettext("There is no such route in this program."))
    visit_id = visit_id or uuid.uuid4()
    visit = Visit(
        id=visit_id,
        route=route,
        observer=member.person,
        source=Source(source),
        carried_stops=_stops_of(route, carried_stops),
        cells={
            "night": night.isoformat(),
            "temperature_unit": member.program.temperature_unit,
            "rain_unit": member.program.rain_unit.value,
        },
    )
    set_night(visit, night, program_version(member, carried_version_id))
    lock_draft_id(visit_id)
    check_not_discarded(member, visit_id, recovers)
    stored, _ = Visit.objects.get_or_create(
        id=visit_id,
        defaults={
            field.attname: getattr(visit, field.attname)
            for field in Visit._meta.concrete_fields
            if field.attname not in ("id", "created_at", "changed_at")
        },
    )
    return lock_own_visit(member, stored.pk)


def _stops_of(route: Route, carried: Mapping[str, int]) -> dict[str, int]:
    """Those of the carried stops that are the route's."""
    keys = set(route.stops.values_list("pk", flat=True))
    return {str(number): key for number, key in carried.items() if key in keys}


def program_version(member: Membership, version_id: int | None) -> ProtocolVersion | None:
    """The program's protocol version with that id; None without an id or such a version."""
    if version_id is None:
        return None
    versions = ProtocolVersion.objects.select_related("protocol")
    return versions.filter(pk=version_id, protocol__program=member.program_id).first()


def set_night(
    visit: Visit, night: dt.date, version_override: ProtocolVersion | None = None
) -> None:
    """Set the night of a visit and what follows from it: version, season year and window.

    The visit is not saved. Raises NightUnusable, NoProtocolInForce.
    """
    if not FIRST_YEAR <= night.year <= LAST_YEAR:
        raise NightUnusable
    version = version_override or version_on(visit.route.protocol, night)
    if version is None:
        raise NoProtocolInForce
    protocol = protocol_values(version)
    window = window_of(night, protocol)
    visit.night = night
    visit.protocol_version = version
    visit.season_year = season_year(night, protocol.season_year_begins)
    visit.window = window.name if window else ""


@transaction.atomic
def save_cells(
    member: Membership,
    visit_id: uuid.UUID | str,
    changes: Mapping[str, CellChange],
    *,
    revision: int | None = None,
) -> Saved:
    """Merge typed cells into the observer's draft or sent-back visit.

    Changes of two devices to different cells are both kept; when both fill the same cell,
    the first text stays and the second is returned as a conflict. With a `revision` the
    visit advances to the next one even when no cell differs, so that a delayed earlier
    request is refused as stale.

    Raises NotYours, WrongState, StaleRevision, SheetTooLarge.
    """
    visit = lock_own_visit(member, visit_id)
    require(member, Permission.SURVEY)
    check_state(visit, EDITABLE)
    if revision is not None:
        check_revision(visit, revision)
    conflicts = apply_changes(visit, changes)
    _advance_from(visit, revision)
    return Saved(visit=visit, findings=judge_sheet(visit), conflicts=conflicts)


@transaction.atomic
def put_sheet(
    member: Membership,
    visit_id: uuid.UUID,
    *,
    route: Route,
    night: dt.date,
    cells: Mapping[str, str],
    revision: int | None,
    source: str = Source.PHONE,
    carried_version_id: int | None = None,
    carried_stops: Mapping[str, int] = MappingProxyType({}),
    recovers: dt.datetime | None = None,
    begun_by_id: int | None = None,
) -> tuple[Saved, bool]:
    """Make the observer's sheet hold exactly `cells`; start the visit if it is new.

    Returns what was saved and whether the visit is new. Putting the same sheet again
    changes nothing. Replacing the cells of an existing visit needs its `revision`, so that
    no change is overwritten unseen. A sheet that was begun by another person, who has lent the
    phone or signed out meanwhile, is not the member's.

    Raises NotYours, StaleRevision, WrongState, OtherRoute and whatever `start_visit` and
    `save_cells` raise.
    """
    if begun_by_id not in (None, member.person_id):
        raise NotYours(gettext("Someone else began this visit. They have to sign in to send it."))
    is_new = not Visit.objects.filter(pk=visit_id).exists()
    visit = start_visit(
        member,
        route=route,
        night=night,
        visit_id=visit_id,
        source=source,
        carried_version_id=carried_version_id,
        carried_stops=carried_stops,
        recovers=recovers,
    )
    if visit.route_id != route.pk:
        raise OtherRoute
    typed = {"night": night.isoformat(), **cells}
    new_cells = {storable(address): storable(text) for address, text in typed.items() if text}
    conflicts: tuple[Conflict, ...] = ()
    is_untouched = visit.revision == _NEW_REVISION and revision is None
    if new_cells != visit.cells or is_untouched:
        check_state(visit, EDITABLE)
        if not is_untouched:
            check_revision(visit, revision)
        conflicts = apply_changes(
            visit,
            {
                address: CellChange(
                    was=visit.cells.get(address, ""), now=new_cells.get(address, "")
                )
                for address in visit.cells.keys() | new_cells.keys()
            },
        )
        _advance_from(visit, _NEW_REVISION)
    return Saved(visit=visit, findings=judge_sheet(visit), conflicts=conflicts), is_new


def apply_changes(visit: Visit, changes: Mapping[str, CellChange]) -> tuple[Conflict, ...]:
    """Merge the changes into a locked visit, and save it if a cell changed.

    Raises SheetTooLarge.
    """
    _check_size(changes)
    cells, conflicts = merge(visit.cells, changes)
    if len(cells) > MAX_CELLS:
        raise SheetTooLarge(
            said("A sheet has room for {max_cells} filled cells.", max_cells=MAX_CELLS)
        )
    if cells != visit.cells:
        visit.cells = cells
        move_to_typed_night(visit)
        visit.revision += 1
        visit.save()
    return conflicts


@transaction.atomic
def clear_stop(member: Membership, visit_id: uuid.UUID | str, number: int) -> Visit:
    """Take every entry at one stop off the observer's sheet. Raises NotYours, WrongState."""
    visit = lock_own_visit(member, visit_id)
    require(member, Permission.SURVEY)
    check_state(visit, EDITABLE)
    filled = {a: t for a, t in visit.cells.items() if a.startswith(f"stops.{number}.")}
    apply_changes(visit, {a: CellChange(was=text, now="") for a, text in filled.items()})
    return visit


def _advance_from(visit: Visit, revision: int | None) -> None:
    if visit.revision == revision:
        visit.revision += 1
        visit.save()


def move_to_typed_night(visit: Visit) -> None:
    """Move the visit (not saved) to the night typed on its sheet.

    When the night is unreadable or has no protocol, the visit stays where it is and the typed
    text is reported as a finding.
    """
    night = typed_night(visit.cells)
    if night is None or night == visit.night:
        return
    try:
        set_night(visit, night)
    except NoProtocolInForce:
        return


@transaction.atomic
def discard_draft(
    member: Membership, visit_id: uuid.UUID, *, begun_by_id: int | None = None
) -> None:
    """Discard a draft of the member that was never submitted, even one that has not arrived
    yet; not one that another person began on the same phone. Idempotent.

    Raises NotYours, WrongState."""
    require(member, Permission.SURVEY)
    if begun_by_id not in (None, member.person_id):
        raise NotYours(gettext("Someone else began this visit. They have to sign in to delete it."))
    lock_draft_id(visit_id)
    if Visit.objects.filter(pk=visit_id).exists():
        visit = lock_own_visit(member, visit_id)
        check_state(visit, [VisitState.DRAFT])
        delete_files_on_commit([photo.image for photo in visit.photos.all()])
        delete_recording_files_on_commit(visit.recordings.all())
        visit.delete()
    note_discarded(member, visit_id)


def _check_size(changes: Mapping[str, CellChange]) -> None:
    for address, change in changes.items():
        if len(address) > MAX_ADDRESS_LENGTH:
            raise SheetTooLarge(
                said(
                    "A cell's address has {address} characters; {max_address_length} are allowed.",
                    address=len(address),
                    max_address_length=MAX_ADDRESS_LENGTH,
                )
            )
        if len(change.now) > MAX_TEXT_LENGTH:
            raise SheetTooLarge(
                said(
                    "The text of the cell {address} has {now} characters; the limit is "
                    "{max_text_length}. Shorten it, or split it over several notes.",
                    address=address,
                    now=len(change.now),
                    max_text_length=MAX_TEXT_LENGTH,
                )
            )
