"""Looking for places in bytes: decimal degrees, degrees and minutes, radians, projected meters,
scaled integers, binary and hexadecimal geometry, midpoints, distances, and names; also inside
archives, workbooks, GeoPackages, PDF and Parquet files.
"""

from __future__ import annotations

import bisect
import io
import itertools
import math
import re
import sqlite3
import struct
import tempfile
import zipfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import pyarrow.parquet
import pypdf
from django.contrib.gis.geos import Point

# A number this near an exact coordinate gives it away: some 60 m. Places that are shared lie
# farther away than this from every exact one; the test that uses this checks so.
NEAR_DEGREES = 0.0006
NEAR_M = 60.0
_EARTH_M = 6371008.8

_DECIMAL = re.compile(r"(?<![\w.])-?\d{1,3}\.\d{3,}")
_SMALL = re.compile(r"(?<![\w.])-?\d\.\d{5,}")
_LARGE = re.compile(r"(?<![\w.])-?\d{5,10}(?:\.\d+)?(?![\w.])")
_MINUTES = re.compile(
    r"(\d{1,3})\s*(?:°|&deg;|d|deg)\s*(\d{1,2}(?:\.\d+)?)\s*(?:'|′|&#x27;|&#39;|m|min)"
    r"(?:\s*(\d{1,2}(?:\.\d+)?)\s*(?:\"|″|&quot;|s|sec))?"
)
_METERS = re.compile(r"(?<![\w.])(\d{2,6}(?:\.\d+)?)\s?(k?m)\b")
_FRACTION = re.compile(r"(?<![\w.])\d{2,6}\.\d+")
# Drawn by chance: one in forty begins with eight digits, which can look like a scaled integer.
_UUID = re.compile(r"\b[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}\b", re.IGNORECASE)


@dataclass(frozen=True, kw_only=True)
class Secrets:
    """`routes` holds the exact (latitude, longitude) of the stops of each route, `shared` the
    coordinates that are given instead, `names` what must not be read anywhere."""

    routes: Sequence[Sequence[tuple[float, float]]]
    shared: Sequence[tuple[float, float]]
    names: Sequence[str]

    @cached_property
    def places(self) -> list[tuple[float, float]]:
        """Stops, their middles two by two, and the middle of each route."""
        found = []
        for stops in self.routes:
            found += stops
            found += [_mean(pair) for pair in itertools.combinations(stops, 2)]
            found.append(_mean(stops))
        return found

    @cached_property
    def degrees(self) -> list[float]:
        return sorted({abs(value) for place in self.places for value in place})

    @cached_property
    def meters(self) -> list[float]:
        """Web Mercator and the UTM zone, of stops."""
        found = []
        for latitude, longitude in itertools.chain(*self.routes):
            zone = 32601 + int((longitude + 180) // 6)
            for system in (3857, zone):
                point = Point(longitude, latitude, srid=4326)
                point.transform(system)
                found += [abs(point.x), abs(point.y)]
        return sorted(found)

    @cached_property
    def distances(self) -> list[float]:
        """Between stops of a route, and from each stop to what is given instead of it, in m."""
        exact = list(itertools.chain(*self.routes))
        between = [
            _distance(*pair) for stops in self.routes for pair in itertools.combinations(stops, 2)
        ]
        moved = [_distance(*pair) for pair in zip(exact, self.shared, strict=True)]
        return sorted(between + moved)

    @cached_property
    def binary(self) -> list[bytes]:
        values = {value for place in itertools.chain(*self.routes) for value in place}
        return [struct.pack(form, value) for value in values for form in ("<d", ">d")]


def _mean(places: Sequence[tuple[float, float]]) -> tuple[float, float]:
    return (
        sum(latitude for latitude, _ in places) / len(places),
        sum(longitude for _, longitude in places) / len(places),
    )


def _distance(one: tuple[float, float], other: tuple[float, float]) -> float:
    """Great-circle distance by the haversine formula (Sinnott 1984, from memory)."""
    (a, b), (c, d) = (tuple(map(math.radians, place)) for place in (one, other))
    half = math.sin((c - a) / 2) ** 2 + math.cos(a) * math.cos(c) * math.sin((d - b) / 2) ** 2
    return 2 * _EARTH_M * math.asin(math.sqrt(half))


def leaks(secrets: Secrets, data: bytes) -> list[str]:
    """What of the secrets stands in the bytes, in words; nothing when they keep them."""
    found: list[str] = []
    for part in unpacked(data):
        found += _binary_leaks(secrets, part)
        found += _text_leaks(secrets, _UUID.sub("", part.decode("utf-8", "replace")))
    return list(dict.fromkeys(found))


def _binary_leaks(secrets: Secrets, part: bytes) -> Iterator[str]:
    text = part.lower()
    for packed in secrets.binary:
        if packed in part:
            yield f"binary {packed.hex()}"
        if packed.hex().encode() in text:
            yield f"hexadecimal {packed.hex()}"


def _text_leaks(secrets: Secrets, text: str) -> Iterator[str]:
    lower = text.lower()
    yield from (f"name {name}" for name in secrets.names if name.lower() in lower)
    yield from _degree_leaks(secrets, text)
    yield from _projected_leaks(secrets, text)
    yield from _distance_leaks(secrets, text)


def _degree_leaks(secrets: Secrets, text: str) -> Iterator[str]:
    for token in set(_DECIMAL.findall(text)):
        if _near(abs(float(token)), secrets.degrees, NEAR_DEGREES):
            yield f"degrees {token}"
    for token in set(_SMALL.findall(text)):
        if _near(abs(math.degrees(float(token))), secrets.degrees, NEAR_DEGREES):
            yield f"radians {token}"
    for degrees, minutes, seconds in set(_MINUTES.findall(text)):
        value = int(degrees) + float(minutes) / 60 + float(seconds or 0) / 3600
        if ("." in minutes or seconds) and _near(value, secrets.degrees, NEAR_DEGREES):
            yield f"minutes {degrees}° {minutes}′ {seconds}"


def _projected_leaks(secrets: Secrets, text: str) -> Iterator[str]:
    for token in set(_LARGE.findall(text)):
        value = abs(float(token))
        if _near(value, secrets.meters, NEAR_M):
            yield f"projected {token}"
        if any(_near(value / scale, secrets.degrees, NEAR_DEGREES) for scale in (1e5, 1e6, 1e7)):
            yield f"scaled {token}"


def _distance_leaks(secrets: Secrets, text: str) -> Iterator[str]:
    for token, unit in set(_METERS.findall(text)):
        meters = float(token) * (1000 if unit == "km" else 1)
        if _near(meters, secrets.distances, 6 if unit == "km" else 0.6):
            yield f"distance {token} {unit}"
    for token in set(_FRACTION.findall(text)):
        if _near(float(token), secrets.distances, 0.06):
            yield f"distance {token}"


def _near(value: float, targets: Sequence[float], tolerance: float) -> bool:
    """Whether one of the targets, in ascending order, lies as near."""
    at = bisect.bisect_left(targets, value - tolerance)
    return at < len(targets) and targets[at] <= value + tolerance


def unpacked(data: bytes) -> Iterator[bytes]:
    """The bytes, and everything that is packed inside, as text where it is not."""
    yield data
    if data.startswith(b"PK\x03\x04"):
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            for name in archive.namelist():
                yield name.encode()
                yield from unpacked(archive.read(name))
    elif data.startswith(b"SQLite format 3\0"):
        yield from _database(data)
    elif data.startswith(b"%PDF"):
        yield from _pdf(data)
    elif data.startswith(b"PAR1"):
        table = pyarrow.parquet.read_table(io.BytesIO(data))
        yield str(table.to_pylist()).encode()


def _database(data: bytes) -> Iterator[bytes]:
    with tempfile.NamedTemporaryFile(suffix=".gpkg") as file:
        Path(file.name).write_bytes(data)
        connection = sqlite3.connect(f"file:{file.name}?mode=ro", uri=True)
        names = [row[0] for row in connection.execute("SELECT name FROM sqlite_master")]
        for name in names:
            if name.startswith(("rtree_", "sqlite_autoindex")):
                continue  # unreadable without the extension; its boxes are looked for as bytes
            try:
                rows = connection.execute(f'SELECT * FROM "{name}"').fetchall()
            except sqlite3.OperationalError:
                continue
            for row in rows:
                yield from (cell for cell in row if isinstance(cell, bytes))
                yield " ".join(str(cell) for cell in row if not isinstance(cell, bytes)).encode()
        connection.close()


def _pdf(data: bytes) -> Iterator[bytes]:
    reader = pypdf.PdfReader(io.BytesIO(data))
    yield str(reader.metadata).encode()
    for page in reader.pages:
        yield page.extract_text().encode()
    for names in (reader.attachments or {}).values():
        yield from names
