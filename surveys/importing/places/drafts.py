"""What a file holds, put in order: routes with their stops, as texts that people may correct.

A draft is plain JSON, a list of routes:

    code, name, region, stratum, left_out
    line       [latitude, longitude] of each point, or None
    stops      row in the file, number, name, latitude, longitude, road, county, habitat,
               hydroperiod, fish, notes, left_out
"""

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from django.contrib.gis.geos import LineString

from surveys.importing.places.columns import route_and_stop
from surveys.importing.places.reading import FoundLine, PlacesFile, Position
from surveys.importing.table import Row
from surveys.models.program import route_code_validator
from surveys.programs.lines import MOST_POINTS
from surveys.protocol.coordinates import CoordinateError, read_pair
from surveys.protocol.values import Place

STOP_TEXTS = ("road", "county", "habitat", "hydroperiod", "fish", "notes")
LONGEST_CODE = 20
_NUMBER_BEHIND = re.compile(r"[^0-9]*?(?P<number>[0-9]{1,3})(?:\.0+)?")
_CODE_AND_NAME = re.compile(r"(?P<code>[A-Za-z0-9-]*[0-9][A-Za-z0-9-]*)[\s:–-]+(?P<name>\D.*)")
_CODED = re.compile(r"(?P<letters>[A-Za-z]+-?)(?P<digits>[0-9]+)")
# About a meter, and twice as much in each try.
_TOLERANCE = 1e-5

Draft = list[dict[str, Any]]


def make_draft(file: PlacesFile, codes: Sequence[str], known: Mapping[str, str]) -> Draft:
    """`codes` are what the columns mean; `known` leads from codes and names of the program's
    routes, in small letters, to their codes."""
    label_of_line = _label(file.lines[0]) if len(file.lines) == 1 else ""
    routes: dict[str, dict[str, Any]] = {}
    for row in file.table.rows:
        cells = _by_meaning(row, codes)
        label, number = _route_and_number(cells)
        label = label or cells.get("route_name", "") or label_of_line
        route = routes.setdefault(label.casefold(), _new_route(label, cells))
        route["stops"].append(_stop(row, cells, number))
    for route in routes.values():
        _number_in_order(route["stops"])
    for line in file.lines:
        _give_line(routes, line)
    draft = list(routes.values())
    _give_codes(draft, known)
    return draft


def _by_meaning(row: Row, codes: Sequence[str]) -> dict[str, str]:
    return {code: text for code, text in zip(codes, row.texts, strict=True) if text}


def _route_and_number(cells: Mapping[str, str]) -> tuple[str, str]:
    joint = route_and_stop(cells.get("route_stop", ""))
    route, stop = joint or ("", "")
    return cells.get("route", "") or route, cells.get("stop", "") or stop


def _new_route(label: str, cells: Mapping[str, str]) -> dict[str, Any]:
    return {
        "label": label,
        "code": "",
        "name": cells.get("route_name", ""),
        "region": cells.get("region", ""),
        "stratum": cells.get("stratum", ""),
        "line": None,
        "stops": [],
        "left_out": False,
    }


def _stop(row: Row, cells: Mapping[str, str], number: str) -> dict[str, Any]:
    latitude, longitude = cells.get("latitude", ""), cells.get("longitude", "")
    if both := cells.get("coordinates"):
        try:
            latitude, longitude = read_pair(both)
        except CoordinateError:
            # Where it is shown, it says what is wrong with it.
            latitude, longitude = both, longitude
    behind = _NUMBER_BEHIND.fullmatch(number)
    return {
        "row": row.number,
        "number": str(int(behind["number"])) if behind else number,
        "name": cells.get("name", ""),
        "latitude": latitude,
        "longitude": longitude,
        **{name: cells.get(name, "") for name in STOP_TEXTS},
        "left_out": False,
    }


def proposed_stop(number: int, place: Place) -> dict[str, Any]:
    """A stop that stands in no row of the file."""
    return {
        "row": f"+{number}",
        "number": str(number),
        "name": "",
        "latitude": f"{place.latitude:.7f}",
        "longitude": f"{place.longitude:.7f}",
        **dict.fromkeys(STOP_TEXTS, ""),
        "left_out": False,
    }


def _number_in_order(stops: Sequence[dict[str, Any]]) -> None:
    """Stops without any number are numbered as they follow in the file."""
    if not any(stop["number"] for stop in stops):
        for number, stop in enumerate(stops, start=1):
            stop["number"] = str(number)


# --- Lines ----------------------------------------------------------------------


def _labels(line: FoundLine) -> list[str]:
    """The texts by which a line may belong to a route, the likeliest first."""
    first = [text for name, text in line.texts.items() if "route" in name.casefold()]
    return [*first, *(text for text in line.texts.values() if text not in first)]


def _label(line: FoundLine) -> str:
    return next(iter(_labels(line)), "")


def _give_line(routes: dict[str, dict[str, Any]], line: FoundLine) -> None:
    labels = [label.casefold() for label in _labels(line)]
    route = next((routes[label] for label in labels if label in routes), None)
    if route is None and len(routes) == 1 and "" in routes:
        route = routes[""]
    if route is None:
        label = _label(line)
        route = routes.setdefault(label.casefold(), _new_route(label, {}))
    if route["line"] is None or len(line.points) > len(route["line"]):
        route["line"] = _simplified(line.points)


def _simplified(points: Sequence[Position]) -> list[list[float]]:
    """No more points than a line may have; a track holds one for each second."""
    tolerance = _TOLERANCE
    line = LineString([(longitude, latitude) for latitude, longitude in points])
    while len(line) > MOST_POINTS:
        line = line.simplify(tolerance)
        tolerance *= 2
    return [[round(latitude, 7), round(longitude, 7)] for longitude, latitude in line.coords]


# --- Codes ----------------------------------------------------------------------


def _give_codes(draft: Draft, known: Mapping[str, str]) -> None:
    """A route of the program keeps its code; a text that can be a code is one; any other text is
    a name, and the route gets the next code that is free."""
    for route in draft:
        route["code"], name = _code_and_name(route.pop("label"), known)
        route["name"] = route["name"] or name
    taken = {code.casefold() for code in known.values()}
    taken |= {route["code"].casefold() for route in draft}
    free = _free_codes(known.values(), taken)
    for route in draft:
        route["code"] = route["code"] or next(free)


def _code_and_name(label: str, known: Mapping[str, str]) -> tuple[str, str]:
    label = " ".join(label.split())
    if label.casefold() in known:
        return known[label.casefold()], ""
    if len(label) <= LONGEST_CODE and route_code_validator.regex.fullmatch(label):
        is_word = label.isalpha() and not label.isupper()
        return ("", label) if is_word else (label, "")
    split = _CODE_AND_NAME.fullmatch(label)
    if split and len(split["code"]) <= LONGEST_CODE and not split["code"].startswith("-"):
        return known.get(split["code"].casefold(), split["code"]), split["name"]
    return "", label


def _free_codes(codes: Iterable[str], taken: set[str]) -> Iterator[str]:
    """As most codes of the program are written, such as R01."""
    written = Counter(
        (match["letters"], len(match["digits"]))
        for code in codes
        if (match := _CODED.fullmatch(code))
    )
    (letters, width), _ = written.most_common(1)[0] if written else (("R", 2), 0)
    number = 0
    while True:
        number += 1
        code = f"{letters}{number:0{width}}"
        if code.casefold() not in taken:
            yield code
