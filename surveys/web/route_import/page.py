"""What the screens of bringing routes in show, made of a plan."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext_lazy

from surveys.language import gettext, said, said_of
from surveys.models import ProgramArea, RouteImport
from surveys.programs.route_plan import MatchedRoute, Plan, PlanFinding
from surveys.web.maps import area_feature

KINDS = {
    "coordinate": gettext_lazy("Coordinates that cannot be read"),
    "slip": gettext_lazy("Stops on another part of the globe"),
    "far": gettext_lazy("Stops far from their route"),
    "number": gettext_lazy("Numbers of stops that cannot be read"),
    "number_twice": gettext_lazy("Numbers used twice in a route"),
    "code": gettext_lazy("Routes without a code"),
    "code_twice": gettext_lazy("Codes used twice"),
    "empty": gettext_lazy("Routes with nothing on them"),
    "long": gettext_lazy("Texts that are too long"),
    "elsewhere": gettext_lazy("Stops with visits that lie elsewhere in the file"),
    "reason": gettext_lazy("A reason is missing"),
    "spacing": gettext_lazy("Stops closer than the protocol asks for"),
    "order": gettext_lazy("Stops that seem out of order"),
    "double": gettext_lazy("Locations used twice"),
    "off_line": gettext_lazy("Stops away from their line"),
    "outside": gettext_lazy("Stops outside the area of the present routes"),
    "outside_area": gettext_lazy("Routes outside the program area"),
}
_SHOWN_OF_A_KIND = 5


@dataclass(frozen=True, kw_only=True)
class Group:
    """Findings of one kind; the first ones are shown, each with its row where it is about one."""

    title: str
    count: int
    first: tuple[tuple[str, PlanFinding], ...]

    @property
    def more(self) -> int:
        return self.count - len(self.first)


def groups(findings: Iterable[PlanFinding], draft: Sequence[dict[str, Any]]) -> list[Group]:
    by_kind: dict[str, list[PlanFinding]] = {}
    for finding in findings:
        by_kind.setdefault(finding.kind, []).append(finding)
    return [
        Group(
            title=KINDS[kind],
            count=len(of_kind),
            first=tuple((_row_of(one, draft), one) for one in of_kind[:_SHOWN_OF_A_KIND]),
        )
        for kind, of_kind in by_kind.items()
    ]


def _row_of(finding: PlanFinding, draft: Sequence[dict[str, Any]]) -> str:
    """`R07, row 5:` before a sentence that is only about what was typed in a cell."""
    spot = finding.spot
    if spot.stop is None or not spot.field:
        return ""
    route = draft[spot.route]
    return said("{code}, row {row}:", code=route["code"], row=route["stops"][spot.stop]["row"])


def counts(plan: Plan) -> list[tuple[str, object, str]]:
    """What the import would do."""
    new = sum(route.state == "new" for route in plan.routes)
    same = sum(route.state == "same" for route in plan.routes)
    changed = plan.count("changed") + plan.count("elsewhere")
    return [
        (gettext("New routes"), new, ""),
        (gettext("New stops"), plan.count("new"), ""),
        (gettext("Changed stops"), changed, gettext("of routes that are here")),
        (gettext("Unchanged routes"), same, gettext("here already")),
    ]


@dataclass(frozen=True, kw_only=True)
class RouteRow:
    """A row of the table of routes; `matched` is None for one that is left out."""

    position: int
    code: str
    name: str
    stops: int
    matched: MatchedRoute | None
    problems: int
    remarks: int

    @property
    def state(self) -> str:
        if self.matched is None:
            return gettext("Skipped")
        return {
            "new": gettext("New"),
            "changed": gettext("Changes"),
            "same": gettext("No change"),
        }[self.matched.state]


def route_rows(draft: Sequence[dict[str, Any]], plan: Plan) -> list[RouteRow]:
    matched = {route.planned.position: route for route in plan.routes}
    return [
        RouteRow(
            position=position,
            code=route["code"],
            name=route["name"] or _present_name(matched.get(position)),
            stops=sum(not stop["left_out"] for stop in route["stops"]),
            matched=matched.get(position),
            problems=sum(finding.spot.route == position for finding in plan.problems),
            remarks=sum(finding.spot.route == position for finding in plan.remarks),
        )
        for position, route in enumerate(draft)
    ]


def _present_name(matched: MatchedRoute | None) -> str:
    return matched.present.name if matched and matched.present else ""


# --- The map -------------------------------------------------------------------------


def map_data(
    plan: Plan, only: int | None = None, area: ProgramArea | None = None
) -> dict[str, Any]:
    """The GeoJSON that the map draws: lines, stops, and a sign for each whole route while its
    stops cannot be told apart. `only`: one route, without a sign."""
    marked = {(f.spot.route, f.spot.stop) for f in plan.findings}
    features: list[dict[str, Any]] = []
    for route in plan.routes:
        if only in (None, route.planned.position):
            features += _features(route, marked, with_sign=only is None)
    features.sort(key=lambda feature: feature["geometry"]["type"] != "LineString")
    if area is not None:
        features.insert(0, area_feature(area))
    return {"type": "FeatureCollection", "features": features}


def _features(
    route: MatchedRoute, marked: set[tuple[int, int | None]], *, with_sign: bool
) -> Iterable[dict[str, Any]]:
    planned = route.planned
    name = f"{planned.code} {planned.name}".strip()
    stops = sorted(route.stops, key=lambda stop: stop.planned.number)
    places = [[s.planned.place.longitude, s.planned.place.latitude] for s in stops]
    line = [[point.longitude, point.latitude] for point in planned.line]
    if len(line or places) > 1:
        yield _feature("LineString", line or places, kind="route", name=name, other=not line)
    for stop, place in zip(stops, places, strict=True):
        has_finding = (planned.position, stop.planned.position) in marked
        yield _feature(
            "Point",
            place,
            kind="stop",
            number=stop.planned.number,
            name=stop.planned.name or name,
            lines=[name],
            **({"state": "finding"} if has_finding else {}),
        )
    if places and with_sign:
        middle = len(places) // 2
        yield _feature(
            "Point",
            places[middle],
            kind="route",
            name=name,
            number=planned.code,
            places=sorted(places, key=lambda place: abs(places.index(place) - middle)),
            lines=[gettext("Zoom in to see the stops.")],
        )


def _feature(shape: str, coordinates: object, **properties: object) -> dict[str, Any]:
    geometry = {"type": shape, "coordinates": coordinates}
    return {"type": "Feature", "geometry": geometry, "properties": properties}


def outcome(row: RouteImport) -> str:
    """What an import wrote."""
    written = row.written
    added = [
        said_of("{number} route", "{number} routes", len(written["routes"])),
        said_of("{number} stop", "{number} stops", len(written["stops"])),
    ]
    changed = said_of("{number} change", "{number} changes", len(written["changed"]))
    return said(
        "Added: {routes} and {stops}. To routes that were here: {changes}.",
        routes=added[0],
        stops=added[1],
        changes=changed,
    )
