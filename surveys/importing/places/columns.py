"""Which column of a file of places means what: guessed from headers and cells, or chosen."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext_lazy

from surveys.importing.fields import plain
from surveys.importing.problems import Problem
from surveys.importing.table import Table
from surveys.language import gettext, said
from surveys.protocol.coordinates import Axis, CoordinateError, read_degrees, read_pair

IGNORE = "ignore"
_MOST_CELLS_LOOKED_AT = 200


@dataclass(frozen=True, kw_only=True)
class Meaning:
    """`names` are headers that are taken for it, in plain letters."""

    code: str
    label: str
    names: tuple[str, ...]


MEANINGS = (
    Meaning(
        code="route",
        label=gettext_lazy("Route: code or name"),
        names=("route", "route code", "route id", "route no", "route nr", "route number", "rte",
               "transect", "folder", "track"),
    ),
    Meaning(
        code="route_name",
        label=gettext_lazy("Name of the route"),
        names=("route name", "name of route", "route title"),
    ),
    Meaning(
        code="region",
        label=gettext_lazy("Region of the route"),
        names=("region", "district", "area", "reserve", "zone"),
    ),
    Meaning(
        code="stratum",
        label=gettext_lazy("Stratum of the route"),
        names=("stratum", "strata"),
    ),
    Meaning(
        code="route_stop",
        label=gettext_lazy("Route and stop number together, such as R01-3"),
        names=("site id", "site code", "stop code", "stop id", "station id", "code", "id"),
    ),
    Meaning(
        code="stop",
        label=gettext_lazy("Stop number"),
        names=("stop", "stop number", "stop no", "stop nr", "number", "no", "nr", "station",
               "station number", "point", "point number", "site number", "order", "sequence",
               "seq"),
    ),
    Meaning(
        code="name",
        label=gettext_lazy("Name of the stop"),
        names=("name", "stop name", "site", "site name", "location", "location name", "landmark",
               "label", "title", "wetland", "pond", "place"),
    ),
    Meaning(
        code="latitude",
        label=gettext_lazy("Latitude"),
        names=("latitude", "lat", "y", "lat dd", "latitude dd", "lat wgs84", "latitude wgs84",
               "decimal latitude", "decimallatitude", "latitude decimal", "lat dms", "y coord",
               "northing"),
    ),
    Meaning(
        code="longitude",
        label=gettext_lazy("Longitude"),
        names=("longitude", "lon", "long", "lng", "x", "lon dd", "long dd", "longitude dd",
               "lon wgs84", "longitude wgs84", "decimal longitude", "decimallongitude",
               "longitude decimal", "lon dms", "x coord", "easting"),
    ),
    Meaning(
        code="coordinates",
        label=gettext_lazy("Latitude and longitude together"),
        names=("coordinates", "coordinate", "coords", "lat long", "lat lon", "latlong", "lat lng",
               "latitude longitude", "position", "gps", "gps coordinates", "location coordinates"),
    ),
    Meaning(
        code="road",
        label=gettext_lazy("Nearest road and crossing"),
        names=("road", "nearest road", "nearest road and crossing", "crossing", "intersection",
               "street", "address"),
    ),
    Meaning(code="county", label=gettext_lazy("County"), names=("county", "parish")),
    Meaning(code="habitat", label=gettext_lazy("Habitat"), names=("habitat", "habitat type")),
    Meaning(
        code="hydroperiod",
        label=gettext_lazy("Holds water"),
        names=("hydroperiod", "holds water", "permanence"),
    ),
    Meaning(
        code="fish", label=gettext_lazy("Fish in the water"), names=("fish", "fish in the water")
    ),
    Meaning(
        code="notes",
        label=gettext_lazy("Notes on the stop"),
        names=("notes", "note", "comments", "comment", "description", "desc", "cmt"),
    ),
)  # fmt: skip
CODES = frozenset({IGNORE, *(meaning.code for meaning in MEANINGS)})
_JOINT = re.compile(
    r"(?P<route>.*?[^\W_].*?)"
    r"(?:[\s_/.:#-]+(?:stop|point|station|pt)?|stop|pt|s)[\s_.:#-]*"
    r"(?P<stop>[0-9]{1,3})",
    re.IGNORECASE,
)


def route_and_stop(text: str) -> tuple[str, str] | None:
    """`R01-3` is stop 3 of R01, `Elm Creek stop 04` stop 4 of Elm Creek."""
    found = _JOINT.fullmatch(text.strip())
    return (found["route"].strip(), str(int(found["stop"]))) if found else None


def guess(table: Table) -> tuple[str, ...]:
    """What each column most likely means. A meaning is given to the first column that fits."""
    codes: list[str] = []
    for position, header in enumerate(table.headers):
        code = _guessed(plain(header), _cells(table, position))
        codes.append(IGNORE if code in codes else code)
    return _joined(table, codes)


def _guessed(header: str, cells: list[str]) -> str:
    named = next((meaning.code for meaning in MEANINGS if header in meaning.names), IGNORE)
    if named in (IGNORE, "name") and cells and all(map(_is_pair, cells)):
        return "coordinates"
    if named == "route_stop" and not (cells and all(map(route_and_stop, cells))):
        return IGNORE
    return named


def _joined(table: Table, codes: list[str]) -> tuple[str, ...]:
    """Where no column is the stop number, names such as R01-3 tell route and stop."""
    if "route_stop" in codes and "stop" in codes:
        codes[codes.index("route_stop")] = IGNORE
    for code in ("stop", "name"):
        if code not in codes or "route_stop" in codes or (code == "name" and "stop" in codes):
            continue
        position = codes.index(code)
        cells = _cells(table, position)
        if cells and all(map(route_and_stop, cells)):
            codes[position] = "route_stop"
    return tuple(codes)


def _cells(table: Table, position: int) -> list[str]:
    texts = (row.texts[position].strip() for row in table.rows[:_MOST_CELLS_LOOKED_AT])
    return [text for text in texts if text]


def _is_pair(text: str) -> bool:
    try:
        latitude, longitude = read_pair(text)
        read_degrees(latitude, Axis.LATITUDE)
        read_degrees(longitude, Axis.LONGITUDE)
    except CoordinateError:
        return False
    return True


def check(table: Table, codes: Sequence[str]) -> tuple[Problem, ...]:
    """What the columns lack or say twice, before any row is looked at."""
    problems = list(_said_twice(table.headers, codes))
    where = {"latitude", "longitude"}
    if table.rows and "coordinates" not in codes and not where <= set(codes):
        problems.append(
            Problem(
                message=gettext("No columns are read as latitude and longitude."),
                remedy=gettext("Choose the columns that hold them, or the one that holds both."),
            )
        )
    return tuple(problems)


def _said_twice(headers: Sequence[str], codes: Iterable[str]) -> Iterable[Problem]:
    seen: dict[str, str] = {}
    for header, code in zip(headers, codes, strict=True):
        if code != IGNORE and code in seen:
            yield Problem(
                column=header,
                message=said(
                    "Both this column and “{other}” are read as the same thing.", other=seen[code]
                ),
                remedy=gettext("Ignore one of the two."),
            )
        seen.setdefault(code, header)
