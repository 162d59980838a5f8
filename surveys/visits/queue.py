"""The review queue: submitted visits, in the order in which coordinators review them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from django.db.models import Count, Exists, OuterRef, QuerySet, Subquery
from django.db.models.functions import Coalesce

from accounts.models import (
    Membership,
    Person,
)
from surveys.keyset import Key
from surveys.models import (
    Route,
    StoredFinding,
    Visit,
    VisitState,
)
from surveys.protocol.values import Severity
from surveys.visits.claims import claimed_by_others, current_claims

STATES = (
    VisitState.SUBMITTED,
    VisitState.SENT_BACK,
    VisitState.ACCEPTED,
    VisitState.SET_ASIDE,
)
# Visits that somebody must act on are listed oldest first, the others latest first.
OLDEST_FIRST = (VisitState.SUBMITTED, VisitState.SENT_BACK)


class Order(StrEnum):
    ODDNESS = "oddness"
    SUBMITTED = "submitted"
    NIGHT = "night"
    ROUTE = "route"
    OBSERVER = "observer"


class Claims(StrEnum):
    MINE = "mine"
    FREE = "free"


_BY_SUBMISSION = Key(("submitted_at", "pk"))
_KEYS = {
    Order.ODDNESS: Key(("-oddness_score", "submitted_at", "pk")),
    Order.NIGHT: Key(("night", "route__code", "pk")),
    Order.ROUTE: Key(("route__code", "night", "pk")),
    Order.OBSERVER: Key(("observer__name", "observer_id", "night", "pk")),
}


@dataclass(frozen=True, kw_only=True)
class QueueFilters:
    """Filters of the queue; None and False do not filter. Without an order, waiting visits come by
    what stands out in them, all others by submission."""

    state: str = VisitState.SUBMITTED
    route: str | None = None
    region: str | None = None
    observer: int | None = None
    season_year: int | None = None
    open_only: bool = False
    claims: Claims | None = None
    order: Order | None = None

    @property
    def ordered_by(self) -> Order:
        waits = self.state == VisitState.SUBMITTED
        if self.order is None or (self.order is Order.ODDNESS and not waits):
            return Order.ODDNESS if waits else Order.SUBMITTED
        return self.order

    @property
    def key(self) -> Key:
        if self.ordered_by is not Order.SUBMITTED:
            return _KEYS[self.ordered_by]
        return _BY_SUBMISSION if self.state in OLDEST_FIRST else _BY_SUBMISSION.reverse


@dataclass(frozen=True, kw_only=True)
class Choices:
    """The values that occur among submitted visits, offered as filters."""

    routes: tuple[Route, ...]
    regions: tuple[str, ...]
    observers: tuple[Person, ...]
    season_years: tuple[int, ...]


@dataclass(frozen=True, kw_only=True)
class Neighbors:
    """The visits before and after a visit in the queue; None at its ends."""

    previous: Visit | None
    next: Visit | None


def queue(member: Membership, filters: QueueFilters) -> QuerySet[Visit]:
    """Visits of the member's program in one state, with their route and observer.

    Each is annotated with the number of its findings as `refuse_count`, `query_count`,
    `note_count` and `open_count` (queries not settled yet), and has its `oddness` and `claim`.
    """
    return (
        _in_queue(member, filters)
        .order_by(*filters.key.names)
        .select_related("route", "observer", "oddness", "claim__by")
        .annotate(
            refuse_count=_finding_count(severity=Severity.REFUSE.value),
            query_count=_finding_count(severity=Severity.QUERY.value),
            note_count=_finding_count(severity=Severity.NOTE.value),
            open_count=_finding_count(severity=Severity.QUERY.value, settlement=""),
        )
    )


def without_questions(member: Membership, filters: QueueFilters) -> QuerySet[Visit]:
    """Waiting visits in which no rule found more than a note and that do not stand out, oldest
    first. Those that a colleague has claimed are theirs."""
    found = StoredFinding.objects.filter(visit=OuterRef("pk")).exclude(severity=Severity.NOTE.value)
    return (
        _scored(_matching(member, filters))
        .filter(~Exists(found), state=VisitState.SUBMITTED, oddness__score=0)
        .exclude(pk__in=claimed_by_others(member).values("visit"))
        .select_related("route", "observer")
        .order_by(*_BY_SUBMISSION.names)
    )


def state_counts(member: Membership, filters: QueueFilters) -> Mapping[str, int]:
    """The number of visits in each state under the other filters, in one query."""
    rows = _matching(member, filters).order_by().values("state").annotate(number=Count("pk"))
    counts = {row["state"]: row["number"] for row in rows}
    return {state: counts.get(state, 0) for state in STATES}


def choices(member: Membership) -> Choices:
    """The values that the filters offer, in three queries."""
    visits = _handed_in(member)
    routes = tuple(
        Route.objects.filter(
            Exists(visits.filter(route=OuterRef("pk"))), program=member.program_id
        ).order_by("code")
    )
    observers = Person.objects.filter(Exists(visits.filter(observer=OuterRef("pk"))))
    years = visits.order_by("-season_year").values_list("season_year", flat=True).distinct()
    return Choices(
        routes=routes,
        regions=tuple(sorted({route.region for route in routes if route.region})),
        observers=tuple(observers.order_by("name", "pk")),
        season_years=tuple(years),
    )


def neighbors(member: Membership, filters: QueueFilters, visit: Visit) -> Neighbors:
    """The neighbors of a visit, which may itself no longer be in the queue."""
    visits = _in_queue(member, filters).exclude(pk=visit.pk).select_related("route")
    at = filters.key.of(_scored(_handed_in(member)).select_related("observer").get(pk=visit.pk))
    return Neighbors(
        previous=filters.key.before(visits, at).first(),
        next=filters.key.after(visits, at).first(),
    )


def next_waiting(member: Membership, filters: QueueFilters, visit: Visit) -> Visit | None:
    """The visit to review after this one: the next in the queue, else the first. Visits that a
    colleague has claimed are passed over."""
    others = claimed_by_others(member).values("visit")
    visits = _in_queue(member, filters).exclude(pk=visit.pk).exclude(pk__in=others)
    at = filters.key.of(_scored(_handed_in(member)).select_related("observer").get(pk=visit.pk))
    return filters.key.after(visits, at).first() or visits.order_by(*filters.key.names).first()


def _handed_in(member: Membership) -> QuerySet[Visit]:
    return Visit.objects.filter(route__program=member.program_id, state__in=STATES)


def _matching(member: Membership, filters: QueueFilters) -> QuerySet[Visit]:
    lookups = {
        "route__code": filters.route,
        "route__region": filters.region,
        "observer": filters.observer,
        "season_year": filters.season_year,
    }
    visits = _handed_in(member).filter(
        **{name: value for name, value in lookups.items() if value is not None}
    )
    if filters.open_only:
        visits = visits.filter(
            Exists(
                StoredFinding.objects.filter(
                    visit=OuterRef("pk"), severity=Severity.QUERY.value, settlement=""
                )
            )
        )
    if filters.claims is Claims.MINE:
        mine = current_claims(member).filter(by=member.person_id)
        visits = visits.filter(pk__in=mine.values("visit"))
    if filters.claims is Claims.FREE:
        visits = visits.exclude(pk__in=claimed_by_others(member).values("visit"))
    return visits


def _in_queue(member: Membership, filters: QueueFilters) -> QuerySet[Visit]:
    return _scored(_matching(member, filters)).filter(state=filters.state)


def _scored(visits: QuerySet[Visit]) -> QuerySet[Visit]:
    return visits.annotate(oddness_score=Coalesce("oddness__score", 0))


def _finding_count(**conditions: str) -> Coalesce:
    findings = StoredFinding.objects.filter(visit=OuterRef("pk"), **conditions).order_by()
    counts = findings.values("visit").annotate(number=Count("pk")).values("number")
    return Coalesce(Subquery(counts), 0)
