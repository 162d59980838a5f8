"""No form, address or header makes the server fail, whatever stands in it.

Every URL of the table of `test_access` is opened; the forms of its page are sent as they are, but
for a field that holds what no person types. An answer may be anything except a server error, and
none says it in the words of Django.
"""

from collections.abc import Callable, Iterator
from copy import deepcopy
from functools import partial
from urllib.parse import quote_from_bytes, urlsplit

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import transaction
from django.http import HttpResponse
from django.test import Client
from django.urls import resolve

from accounts.models import Role
from tests.integration.test_access import (
    MAY_BE_UNREADY,
    World,
    address,
    make_world,
    request,
    rows,
)
from tests.support.builders import make_member, make_program
from tests.support.forms_found import FoundForm, forms_of
from tests.support.stock_sentences import stock_sentence

pytestmark = pytest.mark.django_db

ROLES = ("coordinator", "observer", "anonymous")
HOSTILE: dict[str, bytes] = {
    "NUL": b"a\x00b",
    "half of a surrogate pair": b"\xed\xa0\x80",
    "no UTF-8": b"\xff\xfe\x80",
    "digits without end": b"9" * 5_000,
    "a number for no column": b"99999999999999999999",
    "below zero": b"-99999999999",
    "infinity": b"1e999",
    "not a number": b"NaN",
    "digits of another kind": "²٣४".encode(),
    "year 0": b"0000-01-01",
    "year 10000": b"99999-12-31",
    "last day of all": b"9999-12-31",
    "no such day": b"2024-02-30",
    "brackets": b"[" * 60_000,
    "braces": b'{"a":' * 60_000,
    "long text": b"x" * 200_000,
    "emoji": "\N{FROG FACE}".encode() * 3_000,
    "markup": b"<script>alert(1)</script>{{ 7|add:7 }}{% now %}%s%n",
    "a statement": b"'; DROP TABLE surveys_visit; --",
    "a path": b"../../../etc/passwd",
    "lines": b"a\r\nSet-Cookie: b=c\r\n\r\n",
    "direction": "\N{RIGHT-TO-LEFT OVERRIDE}\N{ZERO WIDTH JOINER}".encode() * 50,
    "empty": b"",
}
# A web server takes no longer address.
QUERIES = [value for value in HOSTILE.values() if len(value) <= 5_000]


@pytest.fixture(scope="module")
def world(module_rows) -> World:
    program = make_program()
    roles = (Role.PARTNER, Role.OBSERVER, Role.COORDINATOR)
    return make_world(*(make_member(program, role) for role in roles))


@pytest.fixture
def clients(world) -> dict[str, Client]:
    people = deepcopy(world.members)
    clients = {}
    for role in ROLES:
        clients[role] = Client(raise_request_exception=False)
        if role in people:
            clients[role].force_login(people[role].person)
    return clients


def answered(client: Client, send: Callable[[], HttpResponse]) -> str | None:
    """What the server failed with, if it did. Nothing that was sent is kept, no cookie either."""
    cookies = deepcopy(client.cookies)
    with transaction.atomic():
        response = send()
        content = getattr(response, "getvalue", lambda: b"")()
        transaction.set_rollback(True)
    client.cookies = cookies
    if response.status_code < 500:
        is_page = "text/html" in response.headers.get("Content-Type", "")
        stock = stock_sentence(content.decode()) if is_page else ""
        return f"says “{stock}”" if stock else None
    error = response.exc_info[1] if response.exc_info else ""
    return f"{response.status_code} {type(error).__name__}: {str(error)[:200]}"


def encoded(fields: list[tuple[str, bytes]]) -> bytes:
    return "&".join(
        f"{quote_from_bytes(name.encode())}={quote_from_bytes(value)}" for name, value in fields
    ).encode()


def opened_by() -> dict[str, tuple[str, ...]]:
    """Who opens each screen: whoever may do everything there, coordinators before observers; the
    pages of accounts signed in and not."""
    allowed: dict[str, set[str]] = {}
    for name, _, role, answer in rows():
        if not name.startswith("api:") and name not in MAY_BE_UNREADY:
            may = allowed.setdefault(name, set(ROLES))
            if answer != "ok":
                may.discard(role)
    return {
        name: tuple(may) if ":" not in name else tuple(role for role in ROLES if role in may)[:1]
        for name, may in allowed.items()
    }


def every_form(world: World, clients: dict[str, Client]) -> Iterator[tuple[str, str, FoundForm]]:
    """Role, name of the URL it is sent to, and form; each kind of form once."""
    seen = {("account_logout", "POST", ())}
    for name, opening in opened_by().items():
        for role in opening:
            response = request(clients[role], world, name, "GET")
            if "html" not in response.headers.get("Content-Type", ""):
                continue
            for form in forms_of(response.content.decode(), response.request["PATH_INFO"]):
                form.fields = [pair for pair in form.fields if pair[0] != "csrfmiddlewaretoken"]
                form.action = urlsplit(form.action).path or response.request["PATH_INFO"]
                target = resolve(form.action).view_name
                kind = (target, form.method, tuple(sorted({name for name, _ in form.fields})))
                if kind not in seen:
                    seen.add(kind)
                    yield role, target, form


def send(client: Client, form: FoundForm, hostile: dict[str, bytes]) -> str | None:
    """`hostile` holds what stands in some fields in place of what the page has there."""
    fields = [(name, hostile.get(name, (value or "").encode())) for name, value in form.fields]
    if form.method == "GET":
        query = encoded(fields).decode()
        return answered(client, lambda: client.get(form.action, QUERY_STRING=query))
    if form.multipart:
        data = {
            name: SimpleUploadedFile("a\x00../b.xlsx", hostile.get(name, b"x"))
            if value is None
            else hostile.get(name, value.encode()).decode(errors="replace")
            for name, value in form.fields
        }
        return answered(client, lambda: client.post(form.action, data))
    kind = "application/x-www-form-urlencoded"
    return answered(client, lambda: client.post(form.action, encoded(fields), content_type=kind))


def test_every_form_with_nothing_but_hostile_fields(world, clients):
    """From field to field and form to form, what stands in it changes."""
    values, failures, sent = list(HOSTILE.values()), [], 0
    for role, target, form in every_form(world, clients):
        sent += 1
        hostile = {
            name: values[(7 * sent + 5 * place) % len(values)]
            for place, (name, _) in enumerate(form.fields)
        }
        failure = send(clients[role], form, hostile)
        if failure:
            failures.append(f"{target} {form.method} as {role}: {failure}")
    assert not failures, "\n".join(failures)
    assert sent > 60, "the forms were found"


@pytest.mark.slow
@pytest.mark.parametrize("kind", HOSTILE)
def test_every_field_of_every_form(world, clients, kind):
    """One hostile field at a time, so that the others are no reason to stop early."""
    failures = []
    for role, target, form in every_form(world, clients):
        for name in dict(form.fields):
            failure = send(clients[role], form, {name: HOSTILE[kind]})
            if failure:
                failures.append(f"{target} {form.method} {name} as {role}: {failure}")
    assert not failures, "\n".join(failures)


def test_hostile_queries_on_every_address(world, clients):
    """All names that any form or view reads from the query, on every address."""
    failures = []
    for turn, (name, opening) in enumerate(opened_by().items()):
        query = encoded(
            [(key, QUERIES[(turn + place) % len(QUERIES)]) for place, key in enumerate(QUERY_NAMES)]
        ).decode()
        # A NUL is refused before the view; what is behind it is of interest here.
        query = query.replace("%00", "%01")
        for role in opening[:1]:
            url, client = address(world, name), clients[role]
            failure = answered(client, partial(client.get, url, QUERY_STRING=query))
            if failure:
                failures.append(f"{name} as {role}: {failure}")
    assert not failures, "\n".join(failures)


QUERY_NAMES = (
    "page", "q", "species", "route", "stop", "region", "season", "season_year", "year", "night",
    "paper", "size", "against", "preset", "by", "state", "window", "observer", "first_year",
    "last_year", "order", "next", "show", "download",
)  # fmt: skip


@pytest.mark.parametrize("path", ["/a%00b/", "/api/v1/a%00b/visits/", "/guide/%00/", "/?q=a%00b"])
def test_a_nul_in_an_address_is_refused(client, path):
    response = client.generic("GET", *path.split("?")[:1], QUERY_STRING=path.partition("?")[2])
    assert response.status_code == 400
    if path.startswith("/api/"):
        assert "cannot be read" in response.json()["detail"]
