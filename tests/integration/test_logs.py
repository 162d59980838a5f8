"""Keys that open something stand in no log and in no history; lines say whose request they are."""

import io
import json
import logging
import logging.config
import re
import uuid
from collections.abc import Iterator
from importlib import import_module

import pghistory
import pytest
from django.db import connection
from django.test import Client
from django.urls import reverse

from accounts.access import LAST_PROGRAM
from accounts.models import Scope
from accounts.tokens import make_token
from deploy.logs import logging_config
from surveys.web.history import KeylessHistoryMiddleware
from surveys.web.keys import KEYS, without_keys
from tests.integration.test_access import every_url

pytestmark = pytest.mark.django_db
SECRET = "s3cret-Key_of:9f8e7d"
OTHERS = {"program": "marshes", "uidb36": "1z", "season_year": 2024, "version": 1, "form": "txt",
          "kind": "table.csv"}  # fmt: skip


def paths_with_a_key() -> Iterator[str]:
    for name, pattern in every_url():
        names = set(pattern.pattern.converters) or set(pattern.pattern.regex.groupindex)
        if names & KEYS:
            values = {one: SECRET if one in KEYS else OTHERS[one] for one in names}
            yield reverse(name, kwargs=values)


@pytest.fixture
def lines() -> Iterator:
    """The lines that real use would write, as text."""
    before, level = logging.root.handlers[:], logging.root.level
    written = io.StringIO()
    config = logging_config(as_json=True)
    config["handlers"]["console"]["stream"] = written
    logging.config.dictConfig(config)
    yield lambda: written.getvalue().splitlines()
    logging.root.handlers[:] = before
    logging.root.setLevel(level)


def test_every_address_with_a_key_is_tried():
    paths = list(paths_with_a_key())
    assert len(paths) >= 11
    for part in ("/invitation/", "/by-link/", "/confirm-email/", "/reset/key/"):
        assert any(part in path for path in paths)


@pytest.mark.parametrize("method", ["get", "post"])
def test_no_line_holds_a_key(lines, method):
    """Whatever is asked for: what is there, what is not, and what is refused."""
    client = Client(raise_request_exception=False)
    for path in paths_with_a_key():
        for asked in (path, f"{path}nothing/", f"/accounts/login/?next={path}", f"{path}?a=%00"):
            getattr(client, method)(asked)
    logging.getLogger("django.request").error("Internal Server Error: %s", path)
    logging.getLogger("any").warning("https://host%s was not delivered", path)
    assert len(lines()) > 20
    assert not [line for line in lines() if SECRET in line or "s3cret" in line]


def test_no_history_holds_a_key(rf):
    middleware = KeylessHistoryMiddleware(lambda request: kept.append(dict(_metadata())))
    kept: list[dict] = []
    for path in paths_with_a_key():
        middleware(rf.post(path))
    assert [one["url"] for one in kept] == [without_keys(path) for path in paths_with_a_key()]
    assert "s3cret" not in str(kept)


def _metadata() -> dict:
    return pghistory.runtime._tracker.value.metadata


def test_keys_in_history_of_before_are_hidden():
    paths = [*paths_with_a_key(), "/marshes/sheets/", "/marshes/program/people/invitations/7/again"]
    for path in paths:
        pghistory.models.Context.objects.create(id=uuid.uuid4(), metadata={"url": path, "user": 1})
    pghistory.models.Context.objects.create(id=uuid.uuid4(), metadata={"command": "migrate"})
    for _ in range(2):
        with connection.cursor() as cursor:
            cursor.execute(import_module("accounts.migrations.0008_no_keys_in_history").HIDE_KEYS)
    kept = list(pghistory.models.Context.objects.values_list("metadata", flat=True))
    assert sorted(one["url"] for one in kept if "url" in one) == sorted(map(without_keys, paths))
    assert all(one.get("user") == 1 for one in kept if "url" in one)
    assert {"command": "migrate"} in kept


def test_the_site_keeps_history_without_keys(settings):
    assert "surveys.web.history.KeylessHistoryMiddleware" in settings.MIDDLEWARE
    assert "pghistory.middleware.HistoryMiddleware" not in settings.MIDDLEWARE


@pytest.mark.parametrize(
    ("text", "kept"),
    [
        ("/published/marshes/by-link/abc/2024/1/", "/published/marshes/by-link/…/2024/1/"),
        ("/accounts/password/reset/key/1z-abc-def/", "/accounts/password/reset/key/…/"),
        ("?next=%2Finvitation%2Fabc%3Fx", "?next=%2Finvitation%2F…%3Fx"),
        ('GET "/invitation/abc" 404', 'GET "/invitation/…" 404'),
        ("/marshes/program/people/invitations/7/again", None),
        ("/marshes/sheets/", None),
    ],
)
def test_what_is_hidden(text, kept):
    assert without_keys(text) == (kept or text)


def test_a_line_says_whose_request_it_is(lines, observer, client_for):
    client = client_for(observer)
    response = client.get("/", REMOTE_ADDR="192.0.2.7")
    line = json.loads(lines()[-1])
    assert uuid.UUID(line.pop("request_id")).hex == response["X-Request-ID"]
    assert re.fullmatch(r"\d{4}-\d\d-\d\d \d\d:\d\d:\d\d,\d{3}", line.pop("time"))
    assert line.pop("ms") >= 0
    assert line.pop("bytes") is not None
    assert line == {
        "level": "INFO",
        "logger": "duskpool.requests",
        "message": f"GET / {response.status_code}",
        "person": observer.person_id,
        "address": "192.0.2.7",
        "method": "GET",
        "path": "/",
        "status": response.status_code,
    }


def test_messages_on_the_way_belong_to_the_request(lines, observer, client_for):
    response = client_for(observer).get("/nothing/here/?q=secret-search")
    found = [json.loads(line) for line in lines()]
    missing = next(line for line in found if line["logger"] == "django.request")
    assert missing["request_id"] == response["X-Request-ID"]
    assert "request" not in missing
    assert "secret-search" not in str(found)


def test_a_token_names_its_person_and_nobody_is_nobody(lines, observer, program):
    secret = make_token(observer, name="report", scope=Scope.RECORDS, days=30).secret
    Client().get(f"/api/v1/{program.slug}/", headers={"Authorization": f"Bearer {secret}"})
    Client().get("/healthz")
    logging.getLogger("worker").info("no request")
    by_token, by_nobody, outside = (json.loads(line) for line in lines()[-3:])
    assert by_token["person"] == observer.person_id
    assert by_nobody["person"] is None
    assert "request_id" not in outside
    assert secret not in str(lines())


def test_an_error_is_one_line_with_its_traceback(lines):
    try:
        raise ValueError("/invitation/abcdef")
    except ValueError:
        logging.getLogger("any").exception("It broke")
    line = json.loads(lines()[-1])
    assert "ValueError: /invitation/…" in line["exc_info"]


def test_the_client_is_the_one_before_the_trusted_proxies(lines, settings):
    settings.ALLAUTH_TRUSTED_PROXY_COUNT = 1
    Client().get("/healthz", headers={"X-Forwarded-For": "203.0.113.9, 198.51.100.4"})
    assert json.loads(lines()[-1])["address"] == "198.51.100.4"
    settings.ALLAUTH_TRUSTED_PROXY_COUNT = 3
    Client().get("/healthz", headers={"X-Forwarded-For": "203.0.113.9"}, REMOTE_ADDR="192.0.2.8")
    assert json.loads(lines()[-1])["address"] == "192.0.2.8"


def test_cookies_are_for_https_alone_in_real_use(observer, client_for, settings, program):
    settings.SESSION_COOKIE_SECURE = True
    response = client_for(observer).get(f"/{program.slug}/seasons/")
    assert response.cookies[LAST_PROGRAM]["secure"]
    assert response.cookies[LAST_PROGRAM]["httponly"]
