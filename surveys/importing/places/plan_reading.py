"""The texts of a draft read as a plan; what cannot be read is a finding at its cell."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from django.core.exceptions import ValidationError
from django.db import models

from surveys.language import gettext, said
from surveys.models import Habitat, Hydroperiod, Presence, Route, Stop
from surveys.models.program import route_code_validator
from surveys.programs.places import read_coordinate
from surveys.programs.route_plan import PlanFinding, PlannedRoute, PlannedStop, Spot
from surveys.protocol.values import Place

MOST_STOPS_NUMBER = 999
_CHOICES: dict[str, type[models.TextChoices]] = {
    "habitat": Habitat,
    "hydroperiod": Hydroperiod,
    "fish": Presence,
}


def read_draft(
    draft: Sequence[Mapping[str, Any]],
) -> tuple[list[PlannedRoute], list[PlanFinding]]:
    """What is left out is not read."""
    routes: list[PlannedRoute] = []
    findings: list[PlanFinding] = []
    for position, route in enumerate(draft):
        if route["left_out"]:
            continue
        findings += _findings_of_route(position, route)
        routes.append(
            PlannedRoute(
                position=position,
                code=route["code"].strip(),
                name=_name(route),
                region=route["region"].strip(),
                # A draft from before there were strata has none.
                stratum=route.get("stratum", "").strip(),
                line=tuple(Place(latitude=lat, longitude=lon) for lat, lon in route["line"] or ()),
                stops=tuple(_stops(position, route["stops"], findings)),
            )
        )
    findings += _codes_twice(routes)
    return routes, findings


def _name(route: Mapping[str, Any]) -> str:
    return route["name"].strip()


def _findings_of_route(position: int, route: Mapping[str, Any]) -> Iterator[PlanFinding]:
    code = route["code"].strip()
    if not code:
        yield PlanFinding(
            kind="code",
            spot=Spot(route=position, field="code"),
            message=gettext("A route has no code."),
            remedy=gettext("Give it a short one, such as R07."),
        )
    elif not route_code_validator.regex.fullmatch(code) or len(code) > _longest(Route, "code"):
        yield PlanFinding(
            kind="code",
            spot=Spot(route=position, field="code"),
            message=said("“{code}” cannot be the code of a route.", code=code[:60]),
            remedy=gettext("Use up to 20 letters, digits and hyphens, such as R07."),
        )
    yield from _too_long(Route, route, ("name", "region", "stratum"), Spot(route=position))
    if not (route["line"] or any(not stop["left_out"] for stop in route["stops"])):
        yield PlanFinding(
            kind="empty",
            spot=Spot(route=position),
            message=said("Route {code} has neither stops nor a line.", code=code),
            remedy=gettext("Skip the route."),
        )


def _codes_twice(routes: Sequence[PlannedRoute]) -> Iterator[PlanFinding]:
    times = Counter(route.code.casefold() for route in routes if route.code)
    for route in routes:
        if times[route.code.casefold()] > 1:
            yield PlanFinding(
                kind="code_twice",
                spot=Spot(route=route.position, field="code"),
                message=said("Two routes of the file have the code {code}.", code=route.code),
                remedy=gettext("Give one of them another code, or skip it."),
            )


def _stops(
    route: int, stops: Sequence[Mapping[str, Any]], findings: list[PlanFinding]
) -> Iterator[PlannedStop]:
    """Those that can be read; the others leave findings."""
    times = Counter(stop["number"].strip() for stop in stops if not stop["left_out"])
    for position, stop in enumerate(stops):
        if stop["left_out"]:
            continue
        spot = Spot(route=route, stop=position)
        wrong = list(_findings_of_stop(stop, spot, times))
        findings += wrong
        place = _place(stop, spot, findings)
        if place is not None and not wrong:
            yield PlannedStop(
                position=position,
                number=int(stop["number"]),
                place=place,
                name=stop["name"].strip(),
                road=stop["road"].strip(),
                county=stop["county"].strip(),
                **_wetland(stop),
            )


def _findings_of_stop(
    stop: Mapping[str, Any], spot: Spot, times: Mapping[str, int]
) -> Iterator[PlanFinding]:
    number = stop["number"].strip()
    at_number = Spot(route=spot.route, stop=spot.stop, field="number")
    good = number.isascii() and number.isdigit() and len(number) <= 3 and int(number) >= 1
    if not good:
        yield PlanFinding(
            kind="number",
            spot=at_number,
            message=said("“{number}” is not the number of a stop.", number=number[:60])
            if number
            else gettext("A stop has no number."),
            remedy=said("Number the stops 1 to {most}.", most=MOST_STOPS_NUMBER),
        )
    elif times[number] > 1:
        yield PlanFinding(
            kind="number_twice",
            spot=at_number,
            message=said("Two stops of the route have number {number}.", number=number),
            remedy=gettext("Number one of them differently, or skip it."),
        )
    yield from _too_long(Stop, stop, ("name", "road", "county"), spot)


def _place(stop: Mapping[str, Any], spot: Spot, findings: list[PlanFinding]) -> Place | None:
    values: dict[str, float] = {}
    for name in ("latitude", "longitude"):
        try:
            values[name] = read_coordinate(stop[name], name)
        except ValidationError as refusal:
            findings.append(
                PlanFinding(
                    kind="coordinate",
                    spot=Spot(route=spot.route, stop=spot.stop, field=name),
                    message=refusal.messages[0],
                )
            )
    return Place(**values) if len(values) == 2 else None


def _wetland(stop: Mapping[str, Any]) -> dict[str, str]:
    """Words that are none of our choices are kept in the notes."""
    read, notes = {}, [stop["notes"].strip()]
    for name, choices in _CHOICES.items():
        text = stop[name].strip()
        read[name] = _choice(text, choices)
        if text and not read[name]:
            label = Stop._meta.get_field(name).verbose_name
            notes.append(f"{label[:1].upper()}{label[1:]}: {text}")
    return read | {"notes": "\n".join(filter(None, notes))}


def _choice(text: str, choices: type[models.TextChoices]) -> str:
    wanted = text.casefold()
    for value, label in choices.choices:
        if wanted in (value.casefold(), str(label).casefold()):
            return value
    return ""


def _too_long(
    model: type[models.Model], texts: Mapping[str, Any], names: Sequence[str], spot: Spot
) -> Iterator[PlanFinding]:
    for name in names:
        longest = _longest(model, name)
        if len(texts[name].strip()) > longest:
            yield PlanFinding(
                kind="long",
                spot=Spot(route=spot.route, stop=spot.stop, field=name),
                message=said(
                    "“{text}…” is longer than {longest} characters.",
                    text=texts[name].strip()[:40],
                    longest=longest,
                ),
                remedy=gettext("Shorten it."),
            )


def _longest(model: type[models.Model], name: str) -> int:
    return model._meta.get_field(name).max_length
