"""No request makes the API fail, and every error is JSON with a sentence.

Requests are drawn by Schemathesis from the OpenAPI description, as it allows them and as it does
not, for each role; and by hand what a description cannot say. The ids in the address are mostly
those of rows that are there.
"""

import json
from collections.abc import Iterator
from copy import deepcopy
from typing import Any

import pytest
import schemathesis
from django.db import transaction
from django.test import Client
from drf_spectacular.generators import SchemaGenerator
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from schemathesis import GenerationMode

from accounts.models import Role
from tests.integration.test_access import World, make_world
from tests.support.builders import make_member, make_program
from tests.support.sounds import PIECE, checksum

pytestmark = pytest.mark.django_db

ROLES = ("partner", "observer", "coordinator")
ON_THE_DRAFT = ("submit/", "visits/{visit_id}/")
DEEP = "[" * 60_000
# Bodies that no schema draws.
BODIES = {
    "nested": DEEP,
    "nested in a field": '{"cells": ' + '{"a": ' * 60_000,
    "nested in a known field": '{"note": ' + DEEP + "]" * 60_000 + "}",
    "half of a surrogate pair": r'{"changes": {"notes": {"was": "", "now": "a\ud800"}},'
    r' "note": "a\udfff", "reason": "\ud83d", "species": "\ud800", "recording": "\ud800",'
    r' "cells": {"\ud800": "\udc00"}, "route": "\ud800", "night": "\ud800", "season_year": 2024,'
    r' "seen": "\ud800"}',
    "NUL": r'{"changes": {"no\u0000tes": {"was": "\u0000", "now": "a\u0000"}}, "note": "\u0000",'
    r' "reason": "\u0000", "species": "\u0000", "recording": "\u0000", "cells": {"\u0000": "a"},'
    r' "route": "\u0000", "night": "2024-04-15\u0000", "season_year": 2024, "seen": "\u0000"}',
    "numbers": '{"season_year": 1e400, "revision": ' + "9" * 5000 + ', "night": NaN, "cells": -1}',
    "years": '{"night": "99999-12-31", "route": "R1", "cells": {"night": "0000-00-00"},'
    ' "recovers": "9999-12-31T23:59:59.999999-23:59", "protocol_version": 9223372036854775807}',
    "no UTF-8": b"\xff\xfe{}",
    "no JSON": "<a/>",
    "a list": "[1]",
    "a text": '"cells"',
    "nothing": "",
}
# HEAD has none; the others are what HTTP itself says of a file: If-Match, Range.
WITHOUT_A_BODY = [("HEAD", code) for code in range(400, 500)] + [("GET", 412), ("GET", 416)]
# A web server passes no NUL on in a header.
HEADERS = {
    "If-Match": ['"999999999999999"', '"-1"', "\x01", "é"],
    "Upload-Offset": ["9" * 40, "-1", "1e3", "²"],
    "Upload-Length": ["9" * 15, "9" * 400, "-1", "NaN"],
    "Upload-Metadata": ["id !!!", "id /w==", "visit YQ==,visit YQ==", "a" * 5_000, "seconds bmFu"],
    "Upload-Checksum": ["sha256 AAAA", "md5 AAAA", "sha256", "sha1 \x7f"],
    "Range": ["bytes=9" + "9" * 30 + "-", "bytes=-0", "bytes=5-1"],
    "Authorization": ["Bearer \x01", "Bearer " + "a" * 9_000, "Bearer", "Basic Og=="],
    "X-HTTP-Method-Override": ["PATCH", "TRACE"],
    "Accept": ["application/" + "x" * 4_000, "*/*;q=nan", "text/html;version=\x01"],
    "Content-Type": ["application/json; charset=bz2_codec", "application/json; charset=", "/"],
}


@schemathesis.serializer(PIECE)
def piece(context: schemathesis.SerializationContext, value: bytes) -> bytes:
    return value


@pytest.fixture(scope="module")
def world(module_rows) -> World:
    program = make_program()
    return make_world(*(make_member(program, Role(role)) for role in ROLES))


@pytest.fixture(scope="module")
def schema() -> schemathesis.BaseSchema:
    return schemathesis.openapi.from_dict(SchemaGenerator().get_schema(request=None, public=True))


@pytest.fixture
def clients(world) -> dict[str, Client]:
    clients = {}
    for role, member in deepcopy(world.members).items():
        clients[role] = Client(raise_request_exception=False)
        clients[role].force_login(member.person)
    return clients


def operations(schema: schemathesis.BaseSchema) -> Iterator[Any]:
    for found in schema.get_all_operations():
        yield found.ok()


def address(world: World, path: str, drawn: dict[str, Any] | None = None) -> str:
    """The path with what was drawn in its places, or else with ids that are there."""
    values = dict(world.arguments)
    if path.endswith(ON_THE_DRAFT):
        values["visit_id"] = world.draft.pk
    values |= {"version": 1} | (drawn or {})
    for name, value in values.items():
        path = path.replace(f"{{{name}}}", str(value))
    return path


def check_answer(client: Client, method: str, url: str, **options: Any) -> int:
    """Fails on a server error, and on an error that is no JSON with a sentence."""
    with transaction.atomic():
        response = client.generic(method, url, **options)
        content = response.getvalue() if response.streaming else response.content
        transaction.set_rollback(True)
    if response.status_code >= 500:
        raise AssertionError(f"{method} {url[:200]}: {response.status_code}") from (
            response.exc_info[1] if response.exc_info else None
        )
    if response.status_code >= 400 and (method, response.status_code) not in WITHOUT_A_BODY:
        what = (method, url[:200], response.status_code, content[:200])
        assert response.headers["Content-Type"] == "application/json", what
        assert json.loads(content)["detail"], what
    return response.status_code


def send_drawn(client: Client, world: World, case: schemathesis.Case, *, real: bool) -> int:
    """A drawn request; `real` takes the ids in the address from rows that are there."""
    drawn = {} if real else case.path_parameters
    body = case.body if isinstance(case.body, bytes | str) else b""
    if case.media_type and "json" in case.media_type and not isinstance(case.body, bytes):
        body = json.dumps(case.body, default=str)
    headers = {
        name: str(value).encode("latin-1", "replace").decode("latin-1")
        for name, value in (case.headers or {}).items()
        if name.lower() not in ("content-type", "content-length")
    }
    return check_answer(
        client,
        case.method,
        address(world, case.operation.full_path, drawn),
        data=body,
        content_type=case.media_type or "application/json",
        headers=headers,
        query_params=dict(case.query or {}),
    )


def draw(schema, world, clients, *, role: str, examples: int, mode: GenerationMode) -> None:
    for operation in operations(schema):

        @settings(
            max_examples=examples,
            derandomize=True,
            deadline=None,
            database=None,
            phases=[Phase.generate],
            suppress_health_check=list(HealthCheck),
        )
        @given(case=operation.as_strategy(generation_mode=mode), real=st.integers(0, 3))
        def check(case, real):
            send_drawn(clients[role], world, case, real=real > 0)

        check()


@pytest.mark.parametrize("role", ROLES)
def test_a_few_requests_of_each_kind(schema, world, clients, role):
    draw(schema, world, clients, role=role, examples=1, mode=GenerationMode.POSITIVE)


@pytest.mark.slow
@pytest.mark.parametrize("mode", GenerationMode)
@pytest.mark.parametrize("role", ROLES)
def test_many_requests_of_each_kind(schema, world, clients, role, mode):
    draw(schema, world, clients, role=role, examples=40, mode=mode)


@pytest.mark.parametrize("kind", BODIES)
def test_bodies_that_no_schema_draws(schema, world, clients, kind):
    for operation in operations(schema):
        if operation.method.upper() in ("PUT", "POST", "PATCH"):
            check_answer(
                clients["coordinator" if "review" in operation.path else "observer"],
                operation.method.upper(),
                address(world, operation.full_path),
                data=BODIES[kind],
                content_type="application/json",
                headers={"If-Match": '"1"', "Tus-Resumable": "1.0.0"},
            )


def test_headers_that_no_schema_draws(schema, world, clients):
    good = {"If-Match": '"1"', "Tus-Resumable": "1.0.0", "Upload-Offset": "0"}
    for turn, operation in enumerate(operations(schema)):
        for name in list(HEADERS)[turn % 3 :: 3]:
            text = HEADERS[name][turn % len(HEADERS[name])]
            kind = text if name == "Content-Type" else "application/json"
            check_answer(
                clients["observer"],
                operation.method.upper(),
                address(world, operation.full_path),
                data=b"{}" if operation.method.upper() != "GET" else b"",
                content_type=kind,
                headers={**good, name: text},
            )


@pytest.mark.parametrize(
    "headers",
    [{name: text} for name in ("Upload-Offset", "Upload-Checksum") for text in HEADERS[name]]
    + [{"Upload-Offset": "0", "Upload-Checksum": checksum(b"other")}, {"Upload-Offset": "0"}],
)
def test_pieces_of_recordings(world, clients, headers):
    status = check_answer(
        clients["observer"],
        "PATCH",
        address(world, "/api/v1/{program}/recordings/{recording_id}/"),
        data=b"\x00" * 1000,
        content_type=PIECE,
        headers={"Tus-Resumable": "1.0.0", "Upload-Offset": "0", **headers},
    )
    assert 400 <= status < 500


def test_a_body_that_is_too_large_is_413(world, clients, settings):
    settings.DATA_UPLOAD_MAX_MEMORY_SIZE = 1000
    for path in ("visits/{visit_id}/", "visits/{visit_id}/send-back/"):
        method = "PATCH" if path.endswith("visit_id}/") else "POST"
        status = check_answer(
            clients["observer" if method == "PATCH" else "coordinator"],
            method,
            address(world, f"/api/v1/{{program}}/{path}"),
            data=b'{"note": "' + b"x" * 1000 + b'"}',
            content_type="application/json",
            headers={"If-Match": '"1"'},
        )
        assert status == 413
