"""A plan beside the routes and stops that are there already."""

from collections.abc import Iterable, Sequence

from django.contrib.gis.geos import LineString
from django.db.models import Exists, OuterRef

from surveys.language import gettext, said
from surveys.models import ListeningPeriod, Program, Route, Stop
from surveys.programs.places import place_of
from surveys.programs.plan_checks import check_places
from surveys.programs.route_plan import (
    Elsewhere,
    MatchedRoute,
    MatchedStop,
    Plan,
    PlanFinding,
    PlannedRoute,
    PlannedStop,
    PlanOptions,
    Spot,
)
from surveys.protocol.distance import distance_m
from surveys.protocol.values import DistanceUnit, Place
from surveys.protocol.words import distance

# Receivers and the rounding of files differ by less, so this is the same place.
SAME_PLACE_M = 2.0
_STOP_FIELDS = ("name", "road", "county", "habitat", "hydroperiod", "fish", "notes")


def match(
    program: Program,
    routes: Sequence[PlannedRoute],
    options: PlanOptions,
    read: Iterable[PlanFinding] = (),
) -> Plan:
    """`read` are findings of before, which the plan keeps."""
    present = {route.code.casefold(): route for route in program.routes.all()}
    stops = _present_stops(program)
    matched = tuple(_matched(route, present.get(route.code.casefold()), stops) for route in routes)
    findings = [*read, *_elsewhere(program, matched, options), *_after(matched, options)]
    findings += check_places(program, matched, options)
    return Plan(routes=matched, findings=tuple(findings), options=options)


def _present_stops(program: Program) -> dict[tuple[int, int], Stop]:
    listened = ListeningPeriod.objects.filter(stop=OuterRef("pk"))
    rows = Stop.objects.filter(route__program=program, active_until=None)
    rows = rows.select_related("route").annotate(was_surveyed=Exists(listened))
    return {(stop.route_id, stop.number): stop for stop in rows}


def _matched(
    planned: PlannedRoute, present: Route | None, stops: dict[tuple[int, int], Stop]
) -> MatchedRoute:
    if present is None:
        new = tuple(MatchedStop(planned=stop) for stop in planned.stops)
        return MatchedRoute(planned=planned, present=None, stops=new, new_line=bool(planned.line))
    line = line_of(planned.line)
    return MatchedRoute(
        planned=planned,
        present=present,
        stops=tuple(
            _matched_stop(stop, stops.get((present.pk, stop.number))) for stop in planned.stops
        ),
        changes=_changes(planned, present, ("name", "region", "stratum")),
        new_line=line is not None and line != present.line,
    )


def _matched_stop(planned: PlannedStop, present: Stop | None) -> MatchedStop:
    if present is None:
        return MatchedStop(planned=planned)
    meters = distance_m(planned.place, place_of(present.place))
    return MatchedStop(
        planned=planned,
        present=present,
        meters=meters,
        changes=_changes(planned, present, _STOP_FIELDS),
        is_elsewhere=present.was_surveyed and meters > SAME_PLACE_M,
        moves_freely=not present.was_surveyed and meters > SAME_PLACE_M,
    )


def _changes(planned: object, present: object, names: Iterable[str]) -> dict[str, str]:
    """What the file gives and is not so yet. A longer note that holds the text stays."""
    given = {name: getattr(planned, name) for name in names if getattr(planned, name)}
    return {
        name: text
        for name, text in given.items()
        if text != getattr(present, name)
        and not (name == "notes" and text in getattr(present, name))
    }


def line_of(points: Sequence[Place]) -> LineString | None:
    if not points:
        return None
    return LineString([(point.longitude, point.latitude) for point in points], srid=4326)


def _elsewhere(
    program: Program, routes: Iterable[MatchedRoute], options: PlanOptions
) -> Iterable[PlanFinding]:
    """What is to be done with stops that lie elsewhere must be said."""
    if options.elsewhere is not Elsewhere.ASK:
        return
    unit = DistanceUnit(program.distance_unit)
    for route in routes:
        for stop in route.stops:
            if stop.state == "elsewhere":
                yield PlanFinding(
                    kind="elsewhere",
                    spot=Spot(route=route.planned.position, stop=stop.planned.position),
                    message=said(
                        "Stop {number} of {code} is {distance} from its present location.",
                        number=stop.planned.number,
                        code=route.planned.code,
                        distance=distance(stop.meters, unit),
                    ),
                    remedy=gettext(
                        "Choose under “What the file does not say” whether it stays, was "
                        "mistyped, or has moved."
                    ),
                )


def _after(routes: Iterable[MatchedRoute], options: PlanOptions) -> Iterable[PlanFinding]:
    """A reason for what is corrected or moved, and a new place only after the old one opened."""
    if options.elsewhere not in (Elsewhere.CORRECT, Elsewhere.MOVE):
        return
    moving = [
        (route, stop) for route in routes for stop in route.stops if stop.state == "elsewhere"
    ]
    if moving and not options.reason.strip():
        route, stop = moving[0]
        yield PlanFinding(
            kind="reason",
            spot=Spot(route=route.planned.position, stop=stop.planned.position),
            message=gettext("The reason for correcting or moving stops is missing."),
            remedy=gettext("Say why, in a few words. It is kept with the stops."),
        )
