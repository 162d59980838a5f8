"""Nobody without the right gets an exact place, a withheld name, or what gives one away.

Every URL of the project is asked for with everything that can be put into it, by those who are
let in without the right to exact places; all that comes back is searched, archives included.
"""

from __future__ import annotations

import csv
import datetime as dt
import hashlib
import io
import itertools
import json
import sqlite3
import struct
import zipfile
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import pyarrow
import pyarrow.parquet
import pytest
from django.contrib.gis.geos import LineString, Point
from django.test import Client
from django.urls import NoReverseMatch, reverse

from accounts.models import (
    Role,
    Scope,
)
from accounts.tokens import make_token
from surveys.fitting.refit import refit
from surveys.models import (
    Audience,
    ExactDownload,
    ListeningPeriod,
    Program,
    Publication,
    PublicationAudience,
    Sensitivity,
    Stop,
)
from surveys.protocol.sky import stop_sky
from surveys.protocol.values import Place
from surveys.publishing.stops import shared_stops
from tests.integration.test_access import MAY_BE_UNREADY, every_url
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_member,
    make_program,
    make_route,
    make_version,
)
from tests.support.leaks import (
    NEAR_DEGREES,
    Secrets,
    leaks,
)
from tests.support.published import published

pytestmark = pytest.mark.django_db

# (latitude, longitude): far from the middle of their grid cells, on both sides of them.
MEADOW = [(43.0718346, -89.4086127), (43.0717213, -89.3985319), (43.0724957, -89.3883518)]
HOLLOW = [(43.3128459, -89.7231874), (43.3219263, -89.7136429), (43.3312381, -89.7021695)]
NAMES = {
    "stop": ["Quillfeather Culvert", "Marrowby Bridge", "Tansygate Pool"],
    "route": ["Upper Thistledown Road", "Lower Wrenhollow Track"],
    "note": ["Gravelpitcorner", "Barnbehindchurch", "Parkatthemill"],
    "road": ["Ferneyhough Lane", "Skelderby County"],
}
YEARS = (2022, 2023, 2024)


@dataclass(frozen=True, kw_only=True)
class World:
    program: Program
    publication: Publication
    secrets: Secrets
    arguments: dict[str, list[object]]
    clients: dict[str, Client]


@pytest.fixture
def world(db) -> World:
    program = make_program(
        region="Example County",
        place_sharing=Sensitivity.MEDIUM,
        publication_audience=PublicationAudience.PUBLIC,
        contact_email="office@example.org",
    )
    peeper, gopher = make_checklist(program, "Pseudacris crucifer", "Lithobates capito")
    program.checklist.filter(species=gopher).update(sensitivity=Sensitivity.HIGH)
    coordinator = make_member(program, Role.COORDINATOR)
    observer = make_member(program, Role.OBSERVER)
    partner = make_member(program, Role.PARTNER)
    version = make_version(program, max_distance_from_stop_m=100)
    for code, places, name, heard in (
        ("M1", MEADOW, NAMES["route"][0], peeper),
        ("H1", HOLLOW, NAMES["route"][1], gopher),
    ):
        route = make_route(
            program,
            version=version,
            code=code,
            name=name,
            region="North",
            access_notes=NAMES["note"][0],
            line=LineString([(x, y) for y, x in places], srid=4326),
        )
        for stop, (y, x), called in zip(route.stops.all(), places, NAMES["stop"], strict=True):
            Stop.objects.filter(pk=stop.pk).update(
                place=Point(x, y, srid=4326),
                name=called,
                notes=NAMES["note"][2],
                road=NAMES["road"][0],
                county=NAMES["road"][1],
            )
        for year, (month, day) in itertools.product(YEARS, ((4, 2), (5, 3))):
            make_accepted_visit(
                route,
                observer.person,
                night=dt.date(year, month, day + year % 3),
                heard={1: {heard: 2}, 2: {peeper: 1 + year % 3}},
                notes=NAMES["note"][1],
            )
        for period in ListeningPeriod.objects.filter(visit__route=route).select_related("stop"):
            period.measured_at = period.stop.place
            period.measured_accuracy_m = 4.0
            period.note = NAMES["note"][1]
            period.save()
    refit(program)
    publication = published(coordinator)
    program.refresh_from_db()
    return World(
        program=program,
        publication=publication,
        secrets=_secrets(program),
        arguments=_arguments(program, publication, peeper.code),
        clients={
            "anonymous": Client(),
            "partner": _signed_in(partner),
            "partner's token": _with_token(partner, Scope.RECORDS),
            "coordinator's token without exact places": _with_token(coordinator, Scope.RECORDS),
            "coordinator": _signed_in(coordinator),
        },
    )


def _signed_in(member) -> Client:
    client = Client()
    client.force_login(member.person)
    return client


def _with_token(member, scope: Scope) -> Client:
    secret = make_token(member, name="leak", scope=scope, days=30).secret
    return Client(headers={"Authorization": f"Bearer {secret}"})


def _secrets(program: Program) -> Secrets:
    stops = sorted(shared_stops(program).values(), key=lambda stop: stop.label)
    given = {stop.label: (stop.shared.latitude, stop.shared.longitude) for stop in stops}
    order = [f"M1_{n}" for n in (1, 2, 3)] + [f"H1_{n}" for n in (1, 2, 3)]
    return Secrets(
        routes=[MEADOW, HOLLOW],
        shared=[given[label] for label in order],
        names=[*itertools.chain(*NAMES.values())],
    )


def _arguments(program: Program, publication: Publication, species: str) -> dict[str, list[object]]:
    """Everything that can stand in a URL, by the name of its place there."""
    visits = list(program.routes.get(code="M1").visits.values_list("pk", flat=True)[:1])
    stops = list(Stop.objects.filter(route__program=program).values_list("pk", flat=True))
    version = program.protocols.get().versions.get()
    return {
        "program": [program.slug],
        "key": [program.publication_key],
        "code": ["M1", "H1", species, "wet-sky"],
        "species": [species],
        "slug": ["cautions", "trend-method", "call-index"],
        "form": ["svg", "png", "csv", "json", "txt", "bib"],
        "kind": [*publication.files.values_list("kind", flat=True), "csv", "xlsx"],
        "route": list(program.routes.values_list("pk", flat=True)),
        "stop": stops[:1],
        "visit": visits,
        "visit_id": visits,
        "version": [1],
        "version_id": [version.pk],
        "season_year": [2024],
        "run_id": list(program.runs.values_list("pk", flat=True)),
        "entry": list(program.checklist.values_list("pk", flat=True)[:1]),
        "membership": list(program.memberships.values_list("pk", flat=True)[:1]),
    }


# Asked for beside the bare address, wherever the address can hold them.
QUERIES = (
    "",
    "?places=exact",
    "?format=json&places=exact",
    "?format=geojson",
    "?by=route&site=route&route=M1&species=lithobates-capito&region=North",
)
# The API refuses a filter that it does not know.
OF_API = (
    "",
    "?places=exact",
    "?season_year=2024",
    "?species=lithobates-capito",
    "?species=lithobates-capito&region=North",
    "?species=lithobates-capito&region=North&site=route",
)
OF_FILES = ("", "?places=exact")
EXPORTS = ("?format=csv", "?format=json", "?format=parquet", "?format=parquet&places=exact")


def addresses(world: World) -> Iterator[tuple[str, str]]:
    """(URL name, address) of everything in the project that can be asked for."""
    for name, pattern in every_url():
        places = list(pattern.pattern.converters) or list(pattern.pattern.regex.groupindex)
        if name.startswith("api:") and name not in ("api:schema", "api:docs"):
            places = list(dict.fromkeys(["program", *places]))
        if not all(place in world.arguments for place in places):
            continue
        for values in itertools.product(*(world.arguments[place] for place in places)):
            try:
                path = reverse(name, kwargs=dict(zip(places, values, strict=True)))
            except NoReverseMatch:  # such a value cannot stand there
                continue
            for query in _queries(name):
                yield name, path + query


def _queries(name: str) -> Sequence[str]:
    if name == "api:records_export":
        return EXPORTS
    if name == "api:publication_file":
        return OF_FILES
    if name.startswith("api:"):
        return OF_API
    return QUERIES if name.startswith(("web:trend", "web:season")) else ("",)


def answers(world: World, client: Client) -> Iterator[tuple[str, str, bytes, bytes]]:
    """(URL name, address, headers, body) of what lets the client in."""
    client.raise_request_exception = False
    for name, path in addresses(world):
        if name == "account_logout":
            continue
        answer = client.get(path)
        assert answer.status_code < 500 or name in MAY_BE_UNREADY, path
        if answer.status_code == 200:
            body = answer.getvalue() if answer.streaming else answer.content
            yield name, path, str(answer.headers).encode() + b"\n", body


READERS = {
    "anonymous": PublicationAudience.PUBLIC,
    "link holder": PublicationAudience.LINK,
    "partner": PublicationAudience.MEMBERS,
    "partner's token": PublicationAudience.MEMBERS,
    "coordinator's token without exact places": PublicationAudience.MEMBERS,
}
# Addresses that must be among what was searched, so that the search is not of nothing.
MUST_BE_SEARCHED = {
    "anonymous": {"web:published", "web:published_version", "web:published_file"},
    "link holder": {"web:published_by_link", "web:published_file_by_link"},
    "partner": {
        "web:published_version",
        "web:publication",
        "web:publication_file",
        "web:trends",
        "web:trend_species",
        "web:trend_compare",
        "api:records_calls",
        "api:records_export",
        "api:records_routes",
        "api:records_stops_geojson",
        "api:coverage",
        "api:species_trends",
        "api:schema",
    },
    "partner's token": {
        "api:records_routes",
        "api:records_stops",
        "api:records_export",
        "api:coverage",
        "api:publication_file",
    },
    "coordinator's token without exact places": {"api:records_stops", "api:publication_file"},
}


def test_nothing_gives_an_exact_place_away(world):
    found: list[str] = []
    told: dict[bytes, list[str]] = {}
    for reader, audience in READERS.items():
        Program.objects.filter(pk=world.program.pk).update(publication_audience=audience)
        client = world.clients["anonymous" if reader == "link holder" else reader]
        searched = set()
        for name, path, headers, body in answers(world, client):
            searched.add(name)
            for part in (headers, body):
                digest = hashlib.sha256(part).digest()
                if digest not in told:
                    told[digest] = leaks(world.secrets, part)
                found += [f"{reader}: {path}: {leak}" for leak in told[digest]]
            if path.endswith("data/periods.csv") and _sunset_is_exact(body):
                found.append(f"{reader}: {path}: sunset")
        assert MUST_BE_SEARCHED[reader] <= searched, reader
    assert not found, "\n".join(dict.fromkeys(found))
    assert not ExactDownload.objects.exists()
    _check_that_exact_files_are_found(world)


def _check_that_exact_files_are_found(world: World) -> None:
    """The same search, on the files that do hold exact places: it must not stay silent."""
    client = world.clients["coordinator"]
    exact = world.publication.files.filter(audience=Audience.EXACT)
    assert exact.count() >= 3
    for file in exact:
        path = reverse(
            "web:publication_file",
            kwargs={
                "program": world.program.slug,
                "season_year": 2024,
                "version": 1,
                "kind": file.kind,
            },
        )
        body = client.get(path).getvalue()
        if "SHA256SUMS" not in file.kind:
            kinds = {leak.split()[0] for leak in leaks(world.secrets, body)}
            assert {"name", "degrees"} & kinds or "binary" in kinds, file.kind
    assert ExactDownload.objects.count() == exact.count()


def _sunset_is_exact(periods: bytes) -> bool:
    """Whether minutes after sunset come from the exact place: the sun over it, night after
    night, would give it away. Sunsets are whole seconds, so that those of the exact and of the
    shared place agree on some nights, but not on all."""
    latitude, longitude = MEADOW[0]
    place = Place(latitude=latitude, longitude=longitude)
    off = []
    for row in csv.DictReader(io.StringIO(periods.decode())):
        if row["stop"] == "M1_1":
            started = dt.datetime.fromisoformat(row["started_at"].replace("Z", "+00:00"))
            night = (started - dt.timedelta(hours=12)).date()
            sunset = stop_sky(place, night, "America/Chicago").sunset
            late = (started - sunset).total_seconds() / 60
            off.append(abs(late - float(row["minutes_after_sunset"])))
    return max(off) < 0.0051


@pytest.fixture
def secrets() -> Secrets:
    return Secrets(
        routes=[MEADOW],
        shared=[(43.075, -89.405), (43.075, -89.395), (43.075, -89.385)],
        names=["Quillfeather Culvert"],
    )


def test_shared_places_are_no_leak_themselves(secrets):
    for latitude, longitude in secrets.shared:
        assert leaks(secrets, f"{latitude} {longitude} {latitude:.7f}".encode()) == []
    assert all(
        min(abs(abs(value) - degree) for degree in secrets.degrees) > NEAR_DEGREES
        for place in secrets.shared
        for value in place
    )


def _zip(name: str, content: bytes) -> bytes:
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(name, content)
    return file.getvalue()


def _parquet(value: float) -> bytes:
    file = io.BytesIO()
    pyarrow.parquet.write_table(pyarrow.table({"y": pyarrow.array([value], "float32")}), file)
    return file.getvalue()


def _geopackage(tmp: Path, blob: bytes) -> bytes:
    connection = sqlite3.connect(tmp / "x.gpkg")
    connection.execute("CREATE TABLE stops (geom BLOB)")
    connection.execute("INSERT INTO stops VALUES (?)", (blob,))
    connection.commit()
    connection.close()
    return (tmp / "x.gpkg").read_bytes()


Y, X = MEADOW[0]
WKB = struct.pack("<BIdd", 1, 1, X, Y)
HIDDEN: dict[str, Callable[[Path], bytes]] = {
    "decimal": lambda _: b'{"latitude": 43.0718}',
    "four decimals east": lambda _: b"<td>89.4086</td>",
    "json": lambda _: json.dumps([X, Y]).encode(),
    "degrees and minutes": lambda _: "43° 4.310′ N".encode(),
    "degrees, minutes, seconds": lambda _: "89°24'31\"W".encode(),
    "radians": lambda _: b"0.7517453",
    "web mercator": lambda _: b"POINT (-9952921 5322233)",
    "millionths": lambda _: b"43071834,-89408612",
    "WKB": lambda _: WKB,
    "WKB in hexadecimal": lambda _: WKB.hex().upper().encode(),
    "middle of the route": lambda _: b"43.07202",
    "middle of two stops": lambda _: b"-89.40357",
    "distance between stops": lambda _: b"819 m to the next stop",
    "a name": lambda _: b"quillfeather culvert",
    "in a zip in a zip": lambda _: _zip("a.zip", _zip("b.csv", b"43.0718346")),
    "in a workbook": lambda _: _zip("xl/sharedStrings.xml", b"<t>Quillfeather Culvert</t>"),
    "in a GeoPackage": lambda tmp: _geopackage(tmp, WKB),
    "in Parquet": lambda _: _parquet(Y),
}


@pytest.mark.parametrize("hide", HIDDEN.values(), ids=HIDDEN)
def test_the_search_finds_every_way_to_hide_a_place(secrets, hide, tmp_path):
    assert leaks(secrets, hide(tmp_path))


def test_digits_of_a_random_identifier_are_no_place(secrets):
    assert leaks(secrets, b"urn:uuid:43071834-1a2b-4c3d-8e9f-001122334455") == []
    assert leaks(secrets, b"urn:uuid:43071834")
