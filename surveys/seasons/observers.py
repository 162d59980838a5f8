"""Observers at a glance: what each has surveyed, how often a rule had a question, how well second
observers heard the same, and how many recordings were confirmed."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field

from django.db.models import Count, Exists, F, Max, OuterRef, Q, QuerySet

from surveys.models import (
    Confirmation,
    ListeningPeriod,
    Program,
    Recording,
    RecordingKind,
    RecordingState,
    StoredFinding,
    Visit,
    VisitState,
)
from surveys.protocol.values import PeriodStatus, Severity
from surveys.seasons.second_observers import Agreement, agreements

# Drafts are not submitted yet, and a visit that is set aside is a duplicate or a test.
SURVEYED = (VisitState.SUBMITTED, VisitState.SENT_BACK, VisitState.ACCEPTED)


@dataclass(frozen=True, kw_only=True)
class ObserverFigures:
    """`asked` are visits with a question, `by_rule` those with one of each rule."""

    person: int
    visits: int
    routes: int
    last_night: dt.date
    stops: int = 0
    asked: int = 0
    by_rule: Mapping[str, int] = field(default_factory=dict)
    recordings: int = 0
    confirmed: int = 0
    agreement: Agreement | None = None


def observer_figures(
    program: Program, season_year: int | None = None, person: int | None = None
) -> dict[int, ObserverFigures]:
    """By person; those without a visit are left out. In seven queries."""
    chosen = Q(route__program=program, state__in=SURVEYED)
    if season_year is not None:
        chosen &= Q(season_year=season_year)
    if person is not None:
        chosen &= Q(observer=person)
    visits = Visit.objects.filter(chosen)
    stops, asked = _stops(visits), _asked(visits)
    rules, recordings = _by_rule(visits), _recordings(visits)
    agreed = agreements(program, season_year, person)
    totals = visits.order_by().values("observer_id")
    return {
        row["observer_id"]: ObserverFigures(
            person=row["observer_id"],
            visits=row["number"],
            routes=row["routes"],
            last_night=row["last"],
            stops=stops.get(row["observer_id"], 0),
            asked=asked.get(row["observer_id"], 0),
            by_rule=rules.get(row["observer_id"], {}),
            recordings=recordings.get(row["observer_id"], (0, 0))[0],
            confirmed=recordings.get(row["observer_id"], (0, 0))[1],
            agreement=agreed.get(row["observer_id"]),
        )
        for row in totals.annotate(
            number=Count("pk"), routes=Count("route", distinct=True), last=Max("night")
        )
    }


def rule_shares(program: Program, season_year: int | None = None) -> tuple[int, dict[str, int]]:
    """How many visits of all observers there are, and how many have a question of each rule."""
    visits = Visit.objects.filter(route__program=program, state__in=SURVEYED)
    if season_year is not None:
        visits = visits.filter(season_year=season_year)
    rows = _questions(visits).values("code").annotate(visits=Count("visit", distinct=True))
    return visits.count(), {row["code"]: row["visits"] for row in rows}


def season_years_surveyed(program: Program) -> list[int]:
    """Latest first."""
    visits = Visit.objects.filter(route__program=program, state__in=SURVEYED)
    return list(visits.order_by("-season_year").values_list("season_year", flat=True).distinct())


def _stops(visits: QuerySet[Visit]) -> dict[int, int]:
    listened = ListeningPeriod.objects.filter(
        visit__in=visits.values("pk"), status=PeriodStatus.LISTENED.value
    )
    rows = listened.order_by().values_list("visit__observer_id").annotate(Count("pk"))
    return dict(rows)


def _questions(visits: QuerySet[Visit]) -> QuerySet[StoredFinding]:
    return StoredFinding.objects.filter(
        visit__in=visits.values("pk"), severity=Severity.QUERY.value
    ).order_by()


def _asked(visits: QuerySet[Visit]) -> dict[int, int]:
    question = StoredFinding.objects.filter(visit=OuterRef("pk"), severity=Severity.QUERY.value)
    rows = visits.filter(Exists(question)).order_by().values_list("observer_id")
    return dict(rows.annotate(Count("pk")))


def _by_rule(visits: QuerySet[Visit]) -> dict[int, dict[str, int]]:
    rules: dict[int, dict[str, int]] = defaultdict(dict)
    rows = _questions(visits).values_list("visit__observer_id", "code")
    for person, code, number in rows.annotate(number=Count("visit", distinct=True)):
        rules[person][code] = number
    return rules


def _recordings(visits: QuerySet[Visit]) -> dict[int, tuple[int, int]]:
    """How many voucher recordings there are, and in how many someone confirmed a call."""
    confirmed = Exists(Confirmation.objects.filter(recording=OuterRef("pk")))
    rows = (
        Recording.objects.filter(
            visit__in=visits.values("pk"),
            kind=RecordingKind.VOUCHER,
            state=RecordingState.COMPLETE,
        )
        .order_by()
        .annotate(person=F("visit__observer_id"), is_confirmed=confirmed)
        .values("person")
        .annotate(number=Count("pk"), confirmed=Count("pk", filter=Q(is_confirmed=True)))
    )
    return {row["person"]: (row["number"], row["confirmed"]) for row in rows}
