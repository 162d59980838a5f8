"""Which windows are due for which route in which season year."""

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from django.db.models import Count, Max, Min, Q, QuerySet

from surveys.models import (
    Program,
    ProtocolVersion,
    Route,
    SeasonWindow,
    Stop,
    Visit,
    VisitState,
)
from surveys.programs.in_force import version_in_force
from surveys.protocol import seasons
from surveys.protocol.values import MonthDay
from surveys.protocol.values import SeasonWindow as WindowValue


@dataclass(frozen=True, kw_only=True)
class DueWindow:
    """One window of one season year, with its first and last night."""

    name: str
    opens: dt.date
    closes: dt.date


@dataclass(frozen=True, kw_only=True)
class Listening:
    """The nights on which a route has stops to listen at. `until` None: still open."""

    since: dt.date
    until: dt.date | None

    def touches(self, window: DueWindow) -> bool:
        return self.since <= window.closes and (self.until is None or self.until >= window.opens)


@dataclass(frozen=True, kw_only=True)
class Schedule:
    """What every route of a program owes, from its protocol and its stops."""

    protocol_of_route: Mapping[int, int]
    listening: Mapping[int, Listening]
    versions: Mapping[int, tuple[ProtocolVersion, ...]]
    _known: dict[tuple[int, int], tuple[DueWindow, ...]] = field(default_factory=dict)

    def due(self, route_id: int, season_year: int) -> tuple[DueWindow, ...]:
        """Windows in which a visit to the route is due, in order of opening."""
        listening = self.listening.get(route_id)
        if listening is None:
            return ()
        windows = self.windows(self.protocol_of_route[route_id], season_year)
        return tuple(window for window in windows if listening.touches(window))

    def windows(self, protocol_id: int, season_year: int) -> tuple[DueWindow, ...]:
        """Windows of a protocol in a season year.

        Each window belongs to the version in force on its first night, so a season
        in which the protocol changed has the earlier windows of the old version and
        the later ones of the new.
        """
        key = (protocol_id, season_year)
        if key not in self._known:
            self._known[key] = _windows_in(self.versions.get(protocol_id, ()), season_year)
        return self._known[key]


def schedule(program: Program, routes: Iterable[Route]) -> Schedule:
    """Read the schedule of some routes of a program, in at most four queries."""
    routes = [route for route in routes if route.program_id == program.pk]
    protocols = {route.protocol_id for route in routes}
    return Schedule(
        protocol_of_route={route.pk: route.protocol_id for route in routes},
        listening=_listening(routes),
        versions=_by_protocol(ProtocolVersion.objects.filter(protocol__in=protocols)),
    )


def open_season(program: Program, today: dt.date) -> int | None:
    """The season year of `today` while its last window is not over, else None; in two queries."""
    in_use = ProtocolVersion.objects.filter(
        protocol__in=program.routes.filter(active=True).order_by().values("protocol")
    )
    plan = Schedule(protocol_of_route={}, listening={}, versions=_by_protocol(in_use))
    years = []
    for protocol, versions in plan.versions.items():
        version = version_in_force(versions, today) or versions[0]
        begins = MonthDay(month=version.season_begins_month, day=version.season_begins_day)
        year = seasons.season_year(today, begins)
        if any(window.closes >= today for window in plan.windows(protocol, year)):
            years.append(year)
    return max(years, default=None)


def _by_protocol(versions: QuerySet[ProtocolVersion]) -> dict[int, tuple[ProtocolVersion, ...]]:
    found: dict[int, list[ProtocolVersion]] = {}
    for version in versions.order_by("in_force_from", "number").prefetch_related("windows"):
        found.setdefault(version.protocol_id, []).append(version)
    return {protocol: tuple(rows) for protocol, rows in found.items()}


def _listening(routes: list[Route]) -> dict[int, Listening]:
    """From the first stop opened to the last one closed. A route that was given up
    owes nothing after its last visit."""
    stops = (
        Stop.objects.filter(route__in=[route.pk for route in routes])
        .order_by()
        .values_list("route")
        .annotate(
            since=Min("active_from"),
            until=Max("active_until"),
            still_open=Count("pk", filter=Q(active_until__isnull=True)),
        )
    )
    listening = {
        route: Listening(since=since, until=None if still_open else until)
        for route, since, until, still_open in stops
    }
    given_up = [route.pk for route in routes if not route.active]
    last_nights = (
        dict(
            Visit.objects.filter(route__in=given_up)
            .exclude(state=VisitState.DRAFT)
            .order_by()
            .values_list("route")
            .annotate(Max("night"))
        )
        if given_up
        else {}
    )
    for route in given_up:
        span, last_night = listening.pop(route, None), last_nights.get(route)
        if span and last_night:
            until = last_night if span.until is None else min(span.until, last_night)
            listening[route] = Listening(since=span.since, until=until)
    return listening


def _windows_in(versions: tuple[ProtocolVersion, ...], season_year: int) -> tuple[DueWindow, ...]:
    windows = [
        due
        for version in versions
        for due in _windows_of(version, season_year)
        if version_in_force(versions, due.opens) is version
    ]
    return tuple(sorted(windows, key=lambda due: (due.opens, due.closes)))


def _windows_of(version: ProtocolVersion, season_year: int) -> list[DueWindow]:
    begins = MonthDay(month=version.season_begins_month, day=version.season_begins_day)
    windows = []
    for row in version.windows.all():
        opens, closes = seasons.window_dates(_window_value(row), season_year, begins)
        windows.append(DueWindow(name=row.name, opens=opens, closes=closes))
    return windows


def _window_value(row: SeasonWindow) -> WindowValue:
    return WindowValue(
        name=row.name,
        opens=MonthDay(month=row.opens_month, day=row.opens_day),
        closes=MonthDay(month=row.closes_month, day=row.closes_day),
    )
