"""What a changed protocol would have asked of visits that were made: nothing is stored.

The visits of a season are judged twice by the rules of today, under the version that each was made
under and under the changed limits, so that only the limits make a difference.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from django.db.models import QuerySet
from django.utils import timezone

from accounts.access import Permission, require
from accounts.models import Membership
from surveys.models import Protocol, Source, Visit, VisitState
from surveys.programs.assignments import current_season_year, today_of
from surveys.programs.in_force import entries_listed, own_fields_on, stops_in_use
from surveys.programs.protocols import check_limits, version_of
from surveys.programs.schedule import schedule
from surveys.programs.versions import protocol_values
from surveys.protocol import values
from surveys.protocol.archives import ALSO_AT
from surveys.protocol.rules.table import RULES
from surveys.protocol.seasons import season_year
from surveys.protocol.values import Finding, Severity
from surveys.visits.bulk import ProgramSnapshot, program_snapshot
from surveys.visits.judging import judge_cells
from surveys.visits.loading import Background, route_of, stop_uses, stops_on_sheet
from surveys.visits.sheet.cells import split

# Judged within one request; of a larger season the latest ones.
MOST_VISITS = 1_000
_ASKING = (Severity.REFUSE, Severity.QUERY)
_NOT_MADE = (VisitState.DRAFT, VisitState.SET_ASIDE)
# A place on a sheet: number of the stop, code of the species, field.
Place = tuple[int | None, str | None, str]


@dataclass(frozen=True, kw_only=True)
class RouteChange:
    """The visits of a route that change, as (id, night)."""

    route: str
    visits: tuple[tuple[uuid.UUID, dt.date], ...]


@dataclass(frozen=True, kw_only=True)
class RuleChange:
    """What a rule would ask in more places (`gained`) and in fewer (`lost`)."""

    code: str
    severity: Severity
    gained: tuple[RouteChange, ...]
    lost: tuple[RouteChange, ...]


@dataclass(frozen=True, kw_only=True)
class WhatIf:
    """`judged` of all `visits` of the season were compared. `season_year` is None without any."""

    season_year: int | None
    visits: int
    judged: int
    changed: int
    rules: tuple[RuleChange, ...]


def what_if(member: Membership, version_id: int, limits: values.Protocol) -> WhatIf:
    """Compare the last season of a protocol with the same season under other limits.

    Raises ValidationError by field for limits that cannot be, Http404.
    """
    require(member, Permission.MANAGE)
    version = version_of(member.program, version_id)
    check_limits(limits)
    made = Visit.objects.filter(
        route__program=member.program, protocol_version__protocol=version.protocol
    ).exclude(state__in=_NOT_MADE)
    year = _last_season(member, version.protocol, made)
    of_season = made.filter(season_year=year)
    visits = of_season.select_related("protocol_version__protocol", "observer", "route")
    judged = list(visits.order_by("-night", "pk")[:MOST_VISITS])
    comparison = _Comparison(member, limits)
    found = [(visit, *comparison.of(visit)) for visit in judged]
    return WhatIf(
        season_year=year,
        visits=of_season.count(),
        judged=len(judged),
        changed=sum(before != after for _, before, after in found),
        rules=tuple(_changes(found)),
    )


def _last_season(member: Membership, protocol: Protocol, made: QuerySet[Visit]) -> int | None:
    """The latest season whose windows are over; without any, the one under way."""
    years = set(made.order_by().values_list("season_year", flat=True))
    today = today_of(member.program)
    current = current_season_year(member.program, today)
    plan = schedule(member.program, member.program.routes.filter(protocol=protocol))
    if all(window.closes < today for window in plan.windows(protocol.pk, current)):
        current += 1
    return max((year for year in years if year < current), default=max(years, default=None))


Asked = Mapping[tuple[str, Severity], frozenset[Place]]


class _Comparison:
    """Judges visits of a program under their own version and under other limits."""

    def __init__(self, member: Membership, limits: values.Protocol) -> None:
        self.limits = limits
        self.now = timezone.now()
        self.snapshot: ProgramSnapshot = program_snapshot(member.program)
        self.people = frozenset(member.program.memberships.values_list("person", flat=True))
        self.protocols: dict[int, values.Protocol] = {}

    def of(self, visit: Visit) -> tuple[Asked, Asked]:
        background = self._background(visit)
        return tuple(
            self._asked(visit, replace(background, protocol=protocol))
            for protocol in (background.protocol, self.limits)
        )

    def _background(self, visit: Visit) -> Background:
        snapshot, night, version = self.snapshot, visit.night, visit.protocol_version
        if version.pk not in self.protocols:
            self.protocols[version.pk] = protocol_values(version)
        route = snapshot.routes[visit.route.code]
        stops = stops_on_sheet(
            snapshot.stops.get(route.pk, ()), night, split(visit.cells).stops, visit.carried_stops
        )
        in_use = stops_in_use(snapshot.stops.get(route.pk, ()), night)
        return Background(
            route=route_of(
                route,
                stops,
                entries_listed(snapshot.checklist, night),
                own_fields_on(snapshot.own_fields, night),
                stop_uses(stops, in_use),
            ),
            protocol=self.protocols[version.pk],
            version=version,
            stops=stops,
            species=snapshot.species,
            catalog=snapshot.catalog,
            companions=self.people - {visit.observer_id},
        )

    def _asked(self, visit: Visit, background: Background) -> Asked:
        """Photos are left out: what is asked about them does not depend on limits."""
        judgment = judge_cells(
            visit.cells,
            night=visit.night,
            background=background,
            surroundings=self._surroundings(visit, background.protocol),
            is_archive=visit.source == Source.IMPORT,
        )
        asked: dict[tuple[str, Severity], set[Place]] = defaultdict(set)
        for finding in judgment.findings:
            if finding.severity in _ASKING:
                asked[finding.code, finding.severity].update(_places(finding))
        return {key: frozenset(places) for key, places in asked.items()}

    def _surroundings(self, visit: Visit, protocol: values.Protocol) -> values.Surroundings:
        """The other nights of the season year as this protocol begins it."""
        begins = protocol.season_year_begins
        year = season_year(visit.night, begins)
        nights = [night for _, night in self.snapshot.nights.get(visit.route_id, ())]
        nights.remove(visit.night)
        person = visit.observer_id if visit.observer.has_account else None
        around = self.snapshot.surroundings(
            visit.route, visit.night, year, person_id=person, now=self.now
        )
        others = tuple(night for night in nights if season_year(night, begins) == year)
        return replace(around, other_nights=others)


def _places(finding: Finding) -> Iterator[Place]:
    where = finding.where
    also = finding.params.get(ALSO_AT, {}).get("stops", ())
    for stop in (where.stop, *also):
        yield stop, where.species, where.field or ""


def _changes(found: Sequence[tuple[Visit, Asked, Asked]]) -> Iterator[RuleChange]:
    """By rule, in the order of the rules."""
    gained: dict[tuple[str, Severity], list[Visit]] = defaultdict(list)
    lost: dict[tuple[str, Severity], list[Visit]] = defaultdict(list)
    for visit, before, after in found:
        for key in before.keys() | after.keys():
            was, would_be = before.get(key, frozenset()), after.get(key, frozenset())
            if would_be - was:
                gained[key].append(visit)
            if was - would_be:
                lost[key].append(visit)
    order = [rule.code for rule in RULES]
    for code, severity in sorted(gained.keys() | lost.keys(), key=lambda key: _rank(order, key)):
        yield RuleChange(
            code=code,
            severity=severity,
            gained=_by_route(gained[code, severity]),
            lost=_by_route(lost[code, severity]),
        )


def _rank(order: Sequence[str], key: tuple[str, Severity]) -> tuple[int, str, str]:
    code, severity = key
    return order.index(code) if code in order else len(order), code, severity.value


def _by_route(visits: Iterable[Visit]) -> tuple[RouteChange, ...]:
    by_route: dict[str, list[tuple[uuid.UUID, dt.date]]] = defaultdict(list)
    for visit in visits:
        by_route[visit.route.code].append((visit.pk, visit.night))
    return tuple(
        RouteChange(route=code, visits=tuple(sorted(rows, key=lambda row: row[1])))
        for code, rows in sorted(by_route.items())
    )
