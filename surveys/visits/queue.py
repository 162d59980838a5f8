"""The review queue: submitted visits, in the order in which coordinators review them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from django.db.models import Count, Exists, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce

from accounts.models import (
    Membership,
    Person,
)
from surveys.models import (
    Route,
    StoredFinding,
    Visit,
    VisitState,
)
from surveys.protocol.values import Severity

STATES = (
    VisitState.SUBMITTED,
    VisitState.SENT_BACK,
    VisitState.ACCEPTED,
    VisitState.SET_ASIDE,
)
# Visits that somebody must act on are listed oldest first, the others latest first.
OLDEST_FIRST = (VisitState.SUBMITTED, VisitState.SENT_BACK)


@dataclass(frozen=True, kw_only=True)
class QueueFilters:
    """Filters of the queue; None and False do not filter."""

    state: str = VisitState.SUBMITTED
    route: str | None = None
    region: str | None = None
    observer: int | None = None
    season_year: int | None = None
    open_only: bool = False


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
    `note_count` and `open_count` (queries not settled yet).
    """
    return (
        _ordered(_matching(member, filters).filter(state=filters.state), filters)
        .select_related("route", "observer")
        .annotate(
            refuse_count=_finding_count(severity=Severity.REFUSE.value),
            query_count=_finding_count(severity=Severity.QUERY.value),
            note_count=_finding_count(severity=Severity.NOTE.value),
            open_count=_finding_count(severity=Severity.QUERY.value, settlement=""),
        )
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
    visits = _matching(member, filters).filter(state=filters.state).exclude(pk=visit.pk)
    at, key = visit.submitted_at, visit.pk
    earlier = visits.filter(Q(submitted_at__lt=at) | Q(submitted_at=at, pk__lt=key))
    later = visits.filter(Q(submitted_at__gt=at) | Q(submitted_at=at, pk__gt=key))
    before = earlier.select_related("route").order_by("-submitted_at", "-pk").first()
    after = later.select_related("route").order_by("submitted_at", "pk").first()
    if filters.state in OLDEST_FIRST:
        return Neighbors(previous=before, next=after)
    return Neighbors(previous=after, next=before)


def next_waiting(member: Membership, filters: QueueFilters, visit: Visit) -> Visit | None:
    """The visit to review after this one: the next in the queue, else the first."""
    next_visit = neighbors(member, filters, visit).next
    return next_visit or queue(member, filters).exclude(pk=visit.pk).first()


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
    return visits


def _ordered(visits: QuerySet[Visit], filters: QueueFilters) -> QuerySet[Visit]:
    if filters.state in OLDEST_FIRST:
        return visits.order_by("submitted_at", "pk")
    return visits.order_by("-submitted_at", "-pk")


def _finding_count(**conditions: str) -> Coalesce:
    findings = StoredFinding.objects.filter(visit=OuterRef("pk"), **conditions).order_by()
    counts = findings.values("visit").annotate(number=Count("pk")).values("number")
    return Coalesce(Subquery(counts), 0)
