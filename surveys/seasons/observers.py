"""Observers at a glance: what each has surveyed, how often a rule had a question, how well second
observers heard the same, and how many recordings were confirmed."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from uuid import UUID

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
from surveys.seasons.query import fetch
from surveys.trends import agreement_table, cohen_kappa
from surveys.trends.estimates import Estimate

# Drafts are not submitted yet, and a visit that is set aside is a duplicate or a test.
SURVEYED = (VisitState.SUBMITTED, VisitState.SENT_BACK, VisitState.ACCEPTED)

# Two observers on one route and night. Each pair stands here twice, once from each side.
_PAIRS = """
SELECT mine.observer_id, mine.night, mine.id AS visit_id, other.id AS other_id
FROM counted_visit mine
JOIN counted_visit other ON other.program_id = mine.program_id AND other.route_id = mine.route_id
  AND other.night = mine.night AND other.observer_id <> mine.observer_id
WHERE mine.program_id = %(program)s
  AND (%(year)s::int IS NULL OR mine.season_year = %(year)s)
  AND (%(person)s::bigint IS NULL OR mine.observer_id = %(person)s)
"""

# Silences are zeros here, and what is missing is left out.
_HEARD = """
SELECT visit_id, stop_id, species_id, call_index
FROM counted_call
WHERE program_id = %(program)s AND visit_id = ANY(%(visits)s) AND call_index IS NOT NULL
"""


@dataclass(frozen=True, kw_only=True)
class Agreement:
    """Of two observers at the same stops on the same nights: `compared` are call indexes that both
    gave, silence among them, `same` those that are equal."""

    nights: int
    compared: int
    same: int
    kappa: Estimate


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
    agreements = _agreements(program, season_year, person)
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
            agreement=agreements.get(row["observer_id"]),
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


# --- Second observers -------------------------------------------------------------


def _agreements(
    program: Program, season_year: int | None, person: int | None
) -> dict[int, Agreement]:
    facts = {"program": program.pk, "year": season_year, "person": person}
    pairs: dict[int, list[tuple[UUID, UUID, dt.date]]] = defaultdict(list)
    for row in fetch(_PAIRS, facts):
        pairs[row.observer_id].append((row.visit_id, row.other_id, row.night))
    if not pairs:
        return {}
    wanted = sorted({pk for of_one in pairs.values() for pair in of_one for pk in pair[:2]})
    heard: dict[UUID, dict[tuple[int, int], int]] = defaultdict(dict)
    for row in fetch(_HEARD, {"program": program.pk, "visits": wanted}):
        heard[row.visit_id][row.stop_id, row.species_id] = row.call_index
    return {
        observer: agreement
        for observer, of_one in pairs.items()
        if (agreement := _agreement(of_one, heard)) is not None
    }


def _agreement(
    pairs: Sequence[tuple[UUID, UUID, dt.date]],
    heard: Mapping[UUID, Mapping[tuple[int, int], int]],
) -> Agreement | None:
    compared = [indexes for mine, other, _ in pairs for indexes in _both(heard, mine, other)]
    if not compared:
        return None
    table = agreement_table(
        [mine for mine, _ in compared], [other for _, other in compared], classes=4
    )
    return Agreement(
        nights=len({night for *_, night in pairs}),
        compared=len(compared),
        same=sum(mine == other for mine, other in compared),
        kappa=cohen_kappa(table, weights="linear"),
    )


def _both(
    heard: Mapping[UUID, Mapping[tuple[int, int], int]], mine: UUID, other: UUID
) -> Iterator[tuple[int, int]]:
    of_other = heard.get(other, {})
    for place, index in heard.get(mine, {}).items():
        if place in of_other:
            yield index, of_other[place]
