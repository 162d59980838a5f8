"""Beginning a visit and filling its sheet while it is the observer's."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Mapping
from dataclasses import dataclass

from django.db import transaction

from accounts.access import (
    Permission,
    require,
)
from accounts.models import Membership
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
from surveys.protocol.values import Finding
from surveys.visits.access import (
    EDITABLE,
    check_revision,
    check_state,
    lock_own,
)
from surveys.visits.discarded import (
    check_not_discarded,
    note_discarded,
    take_turns,
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
from surveys.visits.media.files import forget_files
from surveys.visits.media.recordings import forget_recordings
from surveys.visits.sheet.cells import (
    LONGEST_ADDRESS,
    LONGEST_TEXT,
    MOST_CELLS,
    CellChange,
    Conflict,
    merge,
    storable,
)
from surveys.visits.sheet.reader import night_typed
from surveys.visits.sheet.texts import (
    FIRST_YEAR,
    LAST_YEAR,
)

_FIRST_REVISION = 1


@dataclass(frozen=True, kw_only=True)
class Saved:
    """What became of a change: the visit as it now is, what is to be said of its sheet,
    and the cells that stayed as they were because somebody else had filled them."""

    visit: Visit
    findings: tuple[Finding, ...]
    conflicts: tuple[Conflict, ...]


@transaction.atomic
def start_visit(
    member: Membership,
    *,
    route: Route,
    night: dt.date,
    visit_id: uuid.UUID | None = None,
    source: str = Source.PAPER,
    carried: int | None = None,
    recovers: dt.datetime | None = None,
) -> Visit:
    """Begin a draft under the protocol version of the night, or under the one that the
    phone carried (`carried`, its id) where the program still has it.

    The same `visit_id` again gives back the same visit, so that a retry from a phone
    can never make a second one; one that was thrown away comes back only when `recovers`
    says when that was. Raises NotYours, DraftDiscarded, NightUnusable, NoProtocolInForce.
    """
    require(member, Permission.SURVEY)
    if route.program_id != member.program_id:
        raise NotYours("There is no such route in this program.")
    visit_id = visit_id or uuid.uuid4()
    visit = Visit(
        id=visit_id,
        route=route,
        observer=member.person,
        source=Source(source),
        cells={
            "night": night.isoformat(),
            "temperature_unit": member.program.temperature_unit,
        },
    )
    place_on_night(visit, night, carried_version(member, carried))
    take_turns(visit_id)
    check_not_discarded(member, visit_id, recovers)
    known, _ = Visit.objects.get_or_create(
        id=visit_id,
        defaults={
            field.attname: getattr(visit, field.attname)
            for field in Visit._meta.concrete_fields
            if field.attname not in ("id", "created_at", "changed_at")
        },
    )
    return lock_own(member, known.pk)


def carried_version(member: Membership, version_id: int | None) -> ProtocolVersion | None:
    """The program's protocol version of that id; None when it is gone or none was named."""
    if version_id is None:
        return None
    versions = ProtocolVersion.objects.select_related("protocol")
    return versions.filter(pk=version_id, protocol__program=member.program_id).first()


def place_on_night(visit: Visit, night: dt.date, carried: ProtocolVersion | None = None) -> None:
    """Give an unsaved visit its night, and the version, season year and window of it."""
    if not FIRST_YEAR <= night.year <= LAST_YEAR:
        raise NightUnusable
    version = carried or version_on(visit.route.protocol, night)
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

    Cell by cell: two devices that fill different cells both keep theirs; where both
    filled the same cell, the first stays and the second comes back as a conflict.
    With a `revision` the visit moves on to the next one even when no cell differs, so
    that an earlier request that is still on its way cannot arrive afterwards.
    Raises NotYours, WrongState, StaleRevision, SheetTooLarge.
    """
    visit = lock_own(member, visit_id)
    require(member, Permission.SURVEY)
    check_state(visit, EDITABLE)
    if revision is not None:
        check_revision(visit, revision)
    conflicts = apply_changes(visit, changes)
    _move_on_from(visit, revision)
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
    carried: int | None = None,
    recovers: dt.datetime | None = None,
) -> tuple[Saved, bool]:
    """Make the observer's sheet hold exactly `cells`; begin the visit when it is new.

    Returns what was saved and whether the visit was begun. Putting the same sheet again
    changes nothing; replacing what a visit holds needs its `revision`, so that nothing
    unseen is overwritten. Raises StaleRevision, WrongState, OtherRoute and whatever
    `start_visit` and `save_cells` raise.
    """
    begun = not Visit.objects.filter(pk=visit_id).exists()
    visit = start_visit(
        member,
        route=route,
        night=night,
        visit_id=visit_id,
        source=source,
        carried=carried,
        recovers=recovers,
    )
    if visit.route_id != route.pk:
        raise OtherRoute
    typed = {"night": night.isoformat(), **cells}
    wanted = {storable(address): storable(text) for address, text in typed.items() if text}
    conflicts: tuple[Conflict, ...] = ()
    just_begun = visit.revision == _FIRST_REVISION and revision is None
    if wanted != visit.cells or just_begun:
        check_state(visit, EDITABLE)
        if not just_begun:
            check_revision(visit, revision)
        conflicts = apply_changes(
            visit,
            {
                address: CellChange(was=visit.cells.get(address, ""), now=wanted.get(address, ""))
                for address in visit.cells.keys() | wanted.keys()
            },
        )
        _move_on_from(visit, _FIRST_REVISION)
    return Saved(visit=visit, findings=judge_sheet(visit), conflicts=conflicts), begun


def apply_changes(visit: Visit, changes: Mapping[str, CellChange]) -> tuple[Conflict, ...]:
    """Merge the changes into a locked visit and save it when a cell changed."""
    _check_size(changes)
    cells, conflicts = merge(visit.cells, changes)
    if len(cells) > MOST_CELLS:
        raise SheetTooLarge(f"A sheet has room for {MOST_CELLS} filled cells.")
    if cells != visit.cells:
        visit.cells = cells
        follow_night(visit)
        visit.revision += 1
        visit.save()
    return conflicts


def _move_on_from(visit: Visit, revision: int | None) -> None:
    if visit.revision == revision:
        visit.revision += 1
        visit.save()


def follow_night(visit: Visit) -> None:
    """Move the visit to the night its sheet names, as far as that can be done.

    Where it cannot, the typed text stays and is a finding.
    """
    typed = night_typed(visit.cells)
    if typed is None or typed == visit.night:
        return
    try:
        place_on_night(visit, typed)
    except NoProtocolInForce:
        return


@transaction.atomic
def discard_draft(member: Membership, visit_id: uuid.UUID) -> None:
    """Throw away a draft of the member's own that was never submitted, also one that is
    still on its way here. The same again changes nothing. Raises NotYours, WrongState."""
    require(member, Permission.SURVEY)
    take_turns(visit_id)
    if Visit.objects.filter(pk=visit_id).exists():
        visit = lock_own(member, visit_id)
        check_state(visit, [VisitState.DRAFT])
        forget_files([photo.image for photo in visit.photos.all()])
        forget_recordings(visit.recordings.all())
        visit.delete()
    note_discarded(member, visit_id)


def _check_size(changes: Mapping[str, CellChange]) -> None:
    for address, change in changes.items():
        if len(address) > LONGEST_ADDRESS:
            raise SheetTooLarge(
                f"A cell's address has {len(address)} characters; {LONGEST_ADDRESS} are allowed."
            )
        if len(change.now) > LONGEST_TEXT:
            raise SheetTooLarge(
                f"The text of the cell {address} has {len(change.now)} characters; there is room "
                f"for {LONGEST_TEXT}. Shorten it, or split it over several notes."
            )
