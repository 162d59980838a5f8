"""While the site is read-only nothing is written; while it is closed, nothing is even asked; and
while the database is away, everybody is asked to come again."""

import re
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager

import pytest
from django.core.management import CommandError, call_command
from django.db import connection, transaction
from django.test import Client

from accounts.models import Role
from surveys import site_mode
from surveys.models import ExactDownload
from surveys.site_mode import Mode, SiteMode
from tests.integration.test_access import MAY_BE_UNREADY, World, address, make_world, request, rows
from tests.support.builders import make_member, make_program

pytestmark = pytest.mark.django_db

READING = ("GET", "HEAD")
ALWAYS_OPEN = ("/healthz", "/readyz", "/metrics", "/.well-known/security.txt")
# Who is signed in, counters of requests: lost, they cost nobody anything that was entered.
OF_THE_MOMENT = {"django_session", "accounts_cache", "accounts_requestcount"}
WRITES = re.compile(r'\s*(?:INSERT INTO|UPDATE|DELETE FROM)\s+"?(\w+)', re.IGNORECASE)


@pytest.fixture(scope="module")
def world(module_rows) -> World:
    program = make_program()
    roles = (Role.PARTNER, Role.OBSERVER, Role.COORDINATOR)
    return make_world(*(make_member(program, role) for role in roles))


@pytest.fixture
def mode(settings, tmp_path):
    settings.SITE_MODE_FILE = tmp_path / "mode.json"
    return lambda mode, until=None: site_mode.write(settings.SITE_MODE_FILE, SiteMode(mode, until))


@pytest.fixture
def coordinator_client(world):
    client = Client(raise_request_exception=False)
    client.force_login(world.members["coordinator"].person)
    return client


@contextmanager
def written():
    """Tables that are written to, apart from those of the moment."""
    tables = set()

    def watch(execute, sql, params, many, context):
        if found := WRITES.match(sql):
            tables.add(found[1])
        return execute(sql, params, many, context)

    with connection.execute_wrapper(watch):
        yield tables
    tables -= OF_THE_MOMENT


def test_read_only_every_page_is_there_and_nothing_is_written(world, coordinator_client, mode):
    mode(Mode.READ_ONLY)
    for name, method, who, expected in rows():
        is_refused = method in READING and expected != "ok"
        if who != "coordinator" or is_refused or name in MAY_BE_UNREADY:
            continue
        with transaction.atomic(), written() as tables:
            status = request(coordinator_client, world, name, method).status_code
            transaction.set_rollback(True)
        is_change = method not in READING and name != "web:theme"
        assert (status == 503) is is_change, f"{name} {method}: {status}"
        assert not tables, f"{name} {method} writes to {tables}"


def test_closed_every_address_says_so_without_the_database(
    world, coordinator_client, mode, django_assert_num_queries
):
    addresses = {(name, method): address(world, name) for name, method, *_ in rows()}
    mode(Mode.MAINTENANCE)
    with django_assert_num_queries(0):
        for (name, method), path in addresses.items():
            if path not in ALWAYS_OPEN:
                response = coordinator_client.generic(method, path)
                assert response.status_code == 503, name
                assert response["Retry-After"] == "300"
                assert method == "HEAD" or b"closed for maintenance" in response.content
    assert coordinator_client.get("/healthz").status_code == 200


# Answered without the database.
NEEDS_NO_DATABASE = {"web:healthz", "web:metrics", "web:security_txt", "web:readyz", "web:theme"}


def test_the_database_is_away_every_address_says_so(world, coordinator_client, tmp_path):
    """A connection of a thread belongs to it alone, so this one may have no server behind it."""
    addresses = {(name, method): address(world, name) for name, method, *_ in rows()}

    def ask_all() -> dict:
        connection.settings_dict = {**connection.settings_dict, "HOST": str(tmp_path)}
        try:
            return {key: coordinator_client.generic(key[1], url) for key, url in addresses.items()}
        finally:
            connection.close()

    with ThreadPoolExecutor(1) as thread:
        answers = thread.submit(ask_all).result()
    assert {name for (name, _), answer in answers.items() if answer.status_code != 503} <= (
        NEEDS_NO_DATABASE
    )
    for (name, method), answer in answers.items():
        if name in NEEDS_NO_DATABASE or method == "HEAD":
            continue
        assert answer["Retry-After"] == "10", name
        is_json = name.startswith("api:") or addresses[name, method].endswith(".json")
        assert ("application/json" in answer["Content-Type"]) is is_json, name
        assert b"cannot reach its database" in answer.content


def test_a_page_says_at_its_top_that_nothing_can_be_saved(world, coordinator_client, mode):
    url = address(world, "web:review")
    notice = "Duskpool is read-only at the moment: nothing can be saved."
    assert notice not in coordinator_client.get(url).content.decode()
    mode(Mode.READ_ONLY)
    assert notice in coordinator_client.get(url).content.decode()


def test_what_was_typed_is_on_the_page_that_refuses_it_and_sent_from_there(
    world, coordinator_client, mode
):
    url = address(world, "web:program_facts")
    mode(Mode.READ_ONLY)
    page = coordinator_client.post(url, "name=Two+%22words%22&note=a&note=b",
                                   content_type="application/x-www-form-urlencoded")  # fmt: skip
    text = page.content.decode()
    assert page.status_code == 503
    assert f'<form method="post" action="{url}">' in text
    assert '<input type="hidden" name="name" value="Two &quot;words&quot;">' in text
    assert text.count('name="note"') == 2


def test_passwords_are_not_written_into_the_page(client, mode):
    mode(Mode.READ_ONLY)
    page = client.post("/accounts/login/", {"login": "a@example.org", "password": "salamander"})
    body = b"login=a%40example.org&password=salamander"
    form = client.post("/accounts/login/", body, content_type="application/x-www-form-urlencoded")
    for answer in (page, form):
        assert answer.status_code == 503
        assert "salamander" not in answer.content.decode()
        assert "was not saved" in answer.content.decode()


def test_programs_are_told_in_json(world, coordinator_client, mode):
    mode(Mode.READ_ONLY)
    for url in (address(world, "api:submit"), "/nothing/at/all"):
        answer = coordinator_client.post(url, b"{}", content_type="application/json")
        assert answer.status_code == 503
        assert answer.json()["detail"].startswith("Duskpool is read-only")


@pytest.mark.parametrize("name", ["api:records_stops_geojson", "api:records_stops"])
def test_exact_places_wait_for_their_note(world, coordinator_client, mode, name):
    url = f"{address(world, name)}?places=exact"
    before = ExactDownload.objects.count()
    mode(Mode.READ_ONLY)
    answer = coordinator_client.get(url)
    assert answer.status_code == 503
    assert ExactDownload.objects.count() == before
    mode(Mode.OPEN)
    assert coordinator_client.get(url).status_code == 200
    assert ExactDownload.objects.count() == before + 1


def test_the_command_says_and_sets_the_mode(settings, tmp_path, capsys):
    settings.SITE_MODE_FILE = tmp_path / "mode.json"
    call_command("site_mode")
    assert "The site is open" in capsys.readouterr().out
    call_command("site_mode", "read-only", "--minutes", "20")
    assert "The site is read-only" in capsys.readouterr().out
    assert site_mode.read(settings.SITE_MODE_FILE).until is not None
    for minutes in ("0", "20000"):
        with pytest.raises(CommandError, match="from 1 to 10080"):
            call_command("site_mode", "maintenance", "--minutes", minutes)
    settings.SITE_MODE_FILE = tmp_path / "mode.json" / "below a file"
    with pytest.raises(CommandError, match="cannot be written"):
        call_command("site_mode", "maintenance")
