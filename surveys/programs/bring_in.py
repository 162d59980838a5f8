"""Bringing planned routes and stops in: all in one transaction, or nothing; and undoing it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from django.contrib.gis.geos import GEOSGeometry
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Model, Q

from accounts.access import Permission, require
from accounts.models import Membership
from surveys.language import gettext, said, said_of
from surveys.models import Program, Protocol, Route, RouteChoice, Stop
from surveys.programs.place_corrections import correct_place
from surveys.programs.places import point_of
from surveys.programs.plan_matching import line_of
from surveys.programs.route_plan import (
    Elsewhere,
    MatchedRoute,
    MatchedStop,
    Plan,
    PlannedStop,
    PlanOptions,
)
from surveys.programs.stops import StopFacts, move_stop

_MODELS: dict[str, type[Model]] = {"route": Route, "stop": Stop}
_PLACES = ("place", "line")


class RoutesRefusedError(Exception):
    """Nothing was changed: there is something to fix first, or something in the way."""


@dataclass(frozen=True, kw_only=True)
class Written:
    """Keys of the rows that were added, and of each row that was changed what it was before and
    what it is now, as plain values."""

    routes: list[int]
    stops: list[int]
    changed: list[dict[str, Any]]

    def plain(self) -> dict[str, Any]:
        return asdict(self)


@transaction.atomic
def bring_in(member: Membership, make: Callable[[], Plan]) -> Written:
    """Write the plan that `make` gives, under a lock on the program, so that nothing changes
    between the last check and the writing. Raises RoutesRefusedError."""
    require(member, Permission.MANAGE)
    Program.objects.select_for_update().get(pk=member.program_id)
    plan = make()
    if plan.problems:
        raise RoutesRefusedError(
            said_of(
                "Nothing was imported: there is one problem to fix first.",
                "Nothing was imported: there are {number} problems to fix first.",
                len(plan.problems),
            )
        )
    if not plan.changes_something:
        raise RoutesRefusedError(gettext("Nothing was imported: all of it is there already."))
    written = Written(routes=[], stops=[], changed=[])
    protocol = member.program.protocols.get(pk=plan.options.protocol_id)
    _add_routes(member.program, protocol, plan, written)
    for route in plan.routes:
        if route.present is not None:
            _change_route(member, route, plan.options, written)
    return written


# --- Writing ------------------------------------------------------------------------


def _add_routes(program: Program, protocol: Protocol, plan: Plan, written: Written) -> None:
    new = [route for route in plan.routes if route.present is None]
    rows = []
    for route in new:
        row = Route(
            program=program,
            protocol=protocol,
            code=route.planned.code,
            name=route.planned.name or said("Route {code}", code=route.planned.code),
            region=route.planned.region,
            stratum=route.planned.stratum,
            line=line_of(route.planned.line),
            chosen=plan.options.chosen or RouteChoice.UNKNOWN,
        )
        row.clean_fields(exclude=["program", "protocol", "line"])
        rows.append(row)
    Route.objects.bulk_create(rows)
    written.routes.extend(row.pk for row in rows)
    stops = [
        _new_stop(row, stop.planned, plan.options)
        for row, route in zip(rows, new, strict=True)
        for stop in route.stops
    ]
    Stop.objects.bulk_create(stops)
    written.stops.extend(stop.pk for stop in stops)


def _new_stop(route: Route, planned: PlannedStop, options: PlanOptions) -> Stop:
    stop = Stop(
        route=route,
        number=planned.number,
        place=point_of(planned.place),
        active_from=options.first_night,
        name=planned.name or said("Stop {number}", number=planned.number),
        **{name: text for name, text in _texts(planned).items() if text},
    )
    stop.clean_fields(exclude=["place", "route"])
    return stop


def _texts(planned: PlannedStop) -> dict[str, str]:
    names = ("road", "county", "habitat", "hydroperiod", "fish", "notes")
    return {name: getattr(planned, name) for name in names}


def _change_route(
    member: Membership, route: MatchedRoute, options: PlanOptions, written: Written
) -> None:
    row = route.present
    if route.changes or route.new_line:
        changes: dict[str, object] = dict(route.changes)
        if route.new_line:
            changes["line"] = line_of(route.planned.line)
        _change("route", row, changes, written)
    stops = [_new_stop(row, s.planned, options) for s in route.stops if s.present is None]
    for stop in stops:
        _check_free(stop)
    Stop.objects.bulk_create(stops)
    written.stops.extend(stop.pk for stop in stops)
    for stop in route.stops:
        if stop.present is not None:
            _change_stop(member, stop, options, written)


def _check_free(stop: Stop) -> None:
    """A number that was given up later than the first night is not free yet."""
    taken = stop.route.stops.filter(number=stop.number, active_until__gte=stop.active_from)
    if taken.exists():
        raise RoutesRefusedError(
            said(
                "Nothing was imported: number {number} of {code} belongs to a stop that was closed "
                "later than the first night of the import. Choose a later first night.",
                number=stop.number,
                code=stop.route.code,
            )
        )


def _change_stop(
    member: Membership, stop: MatchedStop, options: PlanOptions, written: Written
) -> None:
    changes: dict[str, object] = dict(stop.changes)
    if stop.moves_freely:
        changes["place"] = point_of(stop.planned.place)
    if changes:
        _change("stop", stop.present, changes, written)
    if not stop.is_elsewhere or options.elsewhere is Elsewhere.KEEP:
        return
    before = _plain(stop.present, ("place", "notes", "active_until"))
    try:
        if options.elsewhere is Elsewhere.CORRECT:
            correct_place(member, stop.present.pk, place=stop.planned.place, reason=options.reason)
        else:
            moved = move_stop(
                member,
                stop.present.pk,
                first_night=options.first_night,
                place=stop.planned.place,
                reason=options.reason,
                facts=_facts_of(stop.present),
            )
            written.stops.append(moved.pk)
    except ValidationError as refusal:
        raise RoutesRefusedError(
            said(
                "Nothing was imported: stop {number} of {code}: {refusal}",
                number=stop.present.number,
                code=stop.present.route.code,
                refusal=" ".join(refusal.messages),
            )
        ) from refusal
    stop.present.refresh_from_db()
    _note("stop", stop.present, before, written)


def _facts_of(stop: Stop) -> StopFacts:
    names = StopFacts.__dataclass_fields__
    return StopFacts(**{name: getattr(stop, name) for name in names} | {"notes": ""})


def _change(kind: str, row: Model, changes: Mapping[str, object], written: Written) -> None:
    before = _plain(row, changes)
    for name, value in changes.items():
        setattr(row, name, value)
    row.clean_fields(exclude=[*_PLACES, "route", "program", "protocol"])
    row.save(update_fields=list(changes))
    _note(kind, row, before, written)


def _note(kind: str, row: Model, before: Mapping[str, Any], written: Written) -> None:
    written.changed.append(
        {"kind": kind, "pk": row.pk, "before": dict(before), "now": _plain(row, before)}
    )


def _plain(row: Model, names: Iterable[str]) -> dict[str, Any]:
    return {name: _plain_value(getattr(row, name)) for name in names}


def _plain_value(value: Any) -> Any:
    if isinstance(value, GEOSGeometry):
        return value.ewkt
    return value if value is None or isinstance(value, str) else value.isoformat()


# --- Undoing -------------------------------------------------------------------------


@transaction.atomic
def take_out(member: Membership, written: Mapping[str, Any]) -> None:
    """Undo what `bring_in` wrote. Raises RoutesRefusedError, and then changes nothing, while
    anything was built on it or changed since."""
    require(member, Permission.MANAGE)
    Program.objects.select_for_update().get(pk=member.program_id)
    routes = list(member.program.routes.filter(pk__in=written["routes"]))
    stops = list(
        Stop.objects.select_related("route").filter(
            route__program=member.program, pk__in=written["stops"]
        )
    )
    changed = list(_changed_rows(member.program, written["changed"]))
    in_the_way = [*_built_on(routes, stops), *_changed_since(changed)]
    if in_the_way:
        raise RoutesRefusedError(" ".join(in_the_way[:5]))
    Stop.objects.filter(pk__in=[stop.pk for stop in stops]).delete()
    for row, change in reversed(changed):
        _set_back(row, change["before"])
    Route.objects.filter(pk__in=[route.pk for route in routes]).delete()


def _changed_rows(
    program: Program, changes: Iterable[Mapping[str, Any]]
) -> Iterator[tuple[Model, Mapping[str, Any]]]:
    for change in changes:
        model = _MODELS[change["kind"]]
        scope = {"program": program} if model is Route else {"route__program": program}
        row = model._default_manager.filter(pk=change["pk"], **scope).first()
        if row is not None:
            yield row, change


def _built_on(routes: Sequence[Route], stops: Sequence[Stop]) -> Iterator[str]:
    of_routes = Route.objects.filter(pk__in=[route.pk for route in routes])
    of_stops = Stop.objects.filter(pk__in=[stop.pk for stop in stops])
    used = of_routes.filter(Q(visits__isnull=False) | Q(assignments__isnull=False)).distinct()
    for route in used.order_by("code"):
        yield said(
            "Route {code} has visits or assignments by now, so the import cannot be undone.",
            code=route.code,
        )
    added = Stop.objects.filter(route__in=of_routes).exclude(pk__in=of_stops)
    for route in of_routes.filter(stops__in=added).distinct().order_by("code"):
        yield said(
            "Stops were added to route {code} since, so the import cannot be undone.",
            code=route.code,
        )
    surveyed = of_stops.filter(periods__isnull=False).select_related("route").distinct()
    for stop in surveyed.exclude(route__in=used).order_by("route__code", "number"):
        yield said(
            "Stop {number} of {code} was surveyed since, so the import cannot be undone.",
            number=stop.number,
            code=stop.route.code,
        )


def _changed_since(changed: Iterable[tuple[Model, Mapping[str, Any]]]) -> Iterator[str]:
    """What an import changed twice is told by its last change."""
    last = {(change["kind"], row.pk): (row, change) for row, change in changed}
    for row, change in last.values():
        if _plain(row, change["now"]) != change["now"]:
            yield said("{row} was changed since, so the import cannot be undone.", row=row)


def _set_back(row: Model, before: Mapping[str, Any]) -> None:
    row.refresh_from_db()
    for name, value in before.items():
        is_place = name in _PLACES and value is not None
        setattr(row, name, GEOSGeometry(value) if is_place else value)
    row.save(update_fields=list(before))
