"""Which visits a member may read or change, and fetching one with its row locked.

Screens, the API and files ask here and nowhere else.
"""

from __future__ import annotations

import uuid
from collections.abc import Collection

from django.db.models import Q, QuerySet

from accounts.access import (
    Permission,
    may,
)
from accounts.models import Membership
from surveys.language import gettext, said
from surveys.models import (
    Visit,
    VisitState,
)
from surveys.protocol.words import listed
from surveys.visits.discarded import check_not_discarded
from surveys.visits.exceptions import (
    NotYours,
    StaleRevision,
    WrongState,
)

EDITABLE = (VisitState.DRAFT, VisitState.SENT_BACK)
HANDED_IN = (VisitState.SUBMITTED, VisitState.ACCEPTED)


def visible_visits(member: Membership) -> QuerySet[Visit]:
    """Visits of the member's program that the member may read.

    Coordinators may read all of them. Observers may read their own, those that they shared as
    second observer, and the submitted and accepted visits of others: what was sent back or set
    aside is between its observers and the coordinators.
    """
    visits = Visit.objects.filter(route__program=member.program_id)
    if may(member, Permission.REVIEW):
        return visits
    if may(member, Permission.SURVEY):
        shared = Q(second_member=member.person_id) & ~Q(state=VisitState.DRAFT)
        return visits.filter(Q(observer=member.person_id) | shared | Q(state__in=HANDED_IN))
    return visits.none()


def sees_guest(member: Membership, visit: Visit) -> bool:
    """Whether the member may read the name of a guest: a coordinator, or one who was there."""
    was_there = member.person_id in (visit.observer_id, visit.second_member_id)
    return was_there or may(member, Permission.REVIEW)


def second_observer_for(member: Membership, visit: Visit) -> str:
    """Who came along, as the member may read it; blank if nobody is known to have."""
    guest = visit.second_observer
    if guest:
        guest = (
            said("{name} (guest)", name=guest) if sees_guest(member, visit) else gettext("A guest")
        )
    return listed(filter(None, [visit.second_member and visit.second_member.name, guest]))


def cells_for(member: Membership, visit: Visit) -> dict[str, str]:
    """The cells of a visit that the member may read."""
    hidden = () if sees_guest(member, visit) else ("second_observer",)
    return {address: text for address, text in visit.cells.items() if address not in hidden}


def find_visit(member: Membership, visit_id: uuid.UUID | str) -> Visit:
    """A visit to read, with its route, version and observer. Raises NotYours."""
    return _get_or_raise(with_relations(visible_visits(member)), visit_id)


def with_relations(visits: QuerySet[Visit]) -> QuerySet[Visit]:
    return visits.select_related(
        "route__program", "protocol_version__protocol", "observer", "second_member"
    )


def lock_own_visit(member: Membership, visit_id: uuid.UUID | str) -> Visit:
    """The member's own visit, locked until the transaction ends.

    Raises NotYours, or DraftDiscarded when the member has discarded the draft of that id.
    """
    visits = Visit.objects.filter(route__program=member.program_id, observer=member.person_id)
    try:
        return _get_or_raise(with_relations(visits).select_for_update(of=("self",)), visit_id)
    except NotYours:
        if isinstance(visit_id, uuid.UUID) and not Visit.objects.filter(pk=visit_id).exists():
            check_not_discarded(member, visit_id)
        raise


def lock_visit(member: Membership, visit_id: uuid.UUID | str) -> Visit:
    """A visit that the member may read, locked until the transaction ends. Raises NotYours."""
    return _get_or_raise(
        with_relations(visible_visits(member)).select_for_update(of=("self",)), visit_id
    )


def check_state(visit: Visit, allowed: Collection[str]) -> None:
    if visit.state not in allowed:
        raise WrongState(visit, tuple(allowed))


def check_revision(visit: Visit, revision: int | None) -> None:
    if visit.revision != revision:
        raise StaleRevision(visit)


def _get_or_raise(visits: QuerySet[Visit], visit_id: uuid.UUID | str) -> Visit:
    try:
        key = visit_id if isinstance(visit_id, uuid.UUID) else uuid.UUID(str(visit_id))
    except ValueError:
        raise NotYours from None
    visit = visits.filter(pk=key).first()
    if visit is None:
        raise NotYours
    return visit
