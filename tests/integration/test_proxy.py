"""deploy/nginx/duskpool.conf, with real nginx and gunicorn under the settings of real use."""

import json
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager

import psycopg
import pytest
from allauth.usersessions.models import UserSession
from django.contrib.auth.hashers import Argon2PasswordHasher
from django.db import connection
from django.urls import reverse
from prometheus_client.parser import text_string_to_metric_families
from psycopg import sql

from surveys.models import Recording
from surveys.web.keys import KEYS
from tests.integration.test_access import every_url
from tests.support.builders import make_route
from tests.support.proxied import HOST, Answer, Proxy, proxied
from tests.support.served import free_port, served, session_cookie
from tests.support.sheets import make_draft
from tests.support.sounds import PIECE, Uploader, checksum, sound

pytestmark = pytest.mark.django_db(transaction=True)
REAL_USE = {
    "DJANGO_SETTINGS_MODULE": "tests.support.proxied_settings",
    "DUSKPOOL_SECRET_KEY": "replaced by the one that signs the sessions of the tests",
    "DUSKPOOL_ALLOWED_HOSTS": HOST,
    "DUSKPOOL_METRICS_TOKEN": "for-the-monitor",
    "DUSKPOOL_EMAIL_HOST": "mail.example.org",
    "DUSKPOOL_FROM_EMAIL": f"surveys@{HOST}",
}
# deploy/gunicorn.conf.py: two processes of four threads.
MORE_THAN_THE_APP_HAS_THREADS = 24
KEY = "a-key-that-opens-something"
PASSWORD = "heron reed lantern 7"
SESSION, CSRF = "__Host-sessionid", "__Host-csrftoken"


@pytest.fixture(scope="module")
def proxy(django_db_setup, django_db_blocker, tmp_path_factory) -> Iterator[Proxy]:
    folder = tmp_path_factory.mktemp("site")
    media = {"DUSKPOOL_MEDIA_ROOT": str(folder / "media")}
    with (
        django_db_blocker.unblock(),
        served(folder, environment=REAL_USE | media) as port,
        proxied(folder / "proxy", port) as proxy,
    ):
        yield proxy


def cookie_of(answer: Answer, name: str) -> str:
    return answer.headers["Set-Cookie"].split(f"{name}=")[1].split(";")[0]


@contextmanager
def slow_clients(proxy: Proxy, sent: bytes) -> Iterator[None]:
    with ExitStack() as lines:
        for _ in range(MORE_THAN_THE_APP_HAS_THREADS):
            lines.enter_context(proxy.connect()).sendall(sent)
        time.sleep(0.3)
        yield


UNFINISHED = {
    "header": f"GET /accounts/login/ HTTP/1.1\r\nHost: {HOST}\r\nX-Slow: ",
    # With all that it takes for the app to read the body.
    "body": (
        f"POST /accounts/login/ HTTP/1.1\r\nHost: {HOST}\r\nReferer: https://{HOST}/\r\n"
        f"Cookie: {CSRF}={'a' * 32}\r\nContent-Length: 99\r\n"
        "Content-Type: application/x-www-form-urlencoded\r\n\r\nlogin="
    ),
}


@pytest.mark.parametrize("sent", UNFINISHED.values(), ids=UNFINISHED)
def test_requests_that_do_not_end_block_nobody(proxy, sent):
    with slow_clients(proxy, sent.encode()):
        begun = time.monotonic()
        assert proxy.ask("GET", "/accounts/login/").status == 200
        # The proxy lets go of them after 10 and 30 seconds.
        assert time.monotonic() - begun < 5


def test_a_large_piece_of_a_recording_arrives(proxy, client_for, observer, program):
    """tus 1.0.0: POST, PATCH and HEAD, their headers, and a body beyond what nginx takes by
    itself (1 MB: nginx documentation, ngx_http_core_module, client_max_body_size)."""
    client = client_for(observer)
    visit = make_draft(observer, make_route(program))
    phone = Uploader(client=client, visit=visit, content=sound(9_000_000))
    assert phone.begin().status_code == 201
    cookie = session_cookie(client, SESSION)
    hello = proxy.ask("GET", f"/{program.slug}/survey/hello.json", Cookie=cookie)
    assert hello.status == 200
    headers = {
        "Cookie": f"{cookie}; {CSRF}={cookie_of(hello, CSRF)}",
        "X-CSRFToken": json.loads(hello.body)["csrf"],
        "Referer": f"https://{HOST}/",
        "Tus-Resumable": "1.0.0",
    }
    sent = proxy.ask(
        "PATCH",
        phone.place,
        phone.content,
        **headers,
        **{"Content-Type": PIECE, "Upload-Offset": "0", "Upload-Checksum": checksum(phone.content)},
    )
    assert (sent.status, sent.headers["Upload-Offset"]) == (204, "9000000")
    assert proxy.ask("HEAD", phone.place, **headers).headers["Upload-Length"] == "9000000"
    url = f"/{program.slug}/recordings/{Recording.objects.get().pk}"
    assert proxy.ask("GET", url, Cookie=cookie).body == phone.content


def test_the_app_sees_the_address_of_the_client_and_none_that_it_claims(proxy, observer):
    person = observer.person
    person.password = Argon2PasswordHasher().encode(PASSWORD, "salt of a test")
    person.save()
    page = proxy.ask("GET", "/accounts/login/", source="127.0.0.7")
    token = cookie_of(page, CSRF)
    form = f"login={person.email}&password={PASSWORD.replace(' ', '+')}&csrfmiddlewaretoken={token}"
    answer = proxy.ask(
        "POST",
        "/accounts/login/",
        form.encode(),
        source="127.0.0.7",
        **{
            "Content-Type": "application/x-www-form-urlencoded",
            "Cookie": f"{CSRF}={token}",
            "Referer": f"https://{HOST}/accounts/login/",
            "X-Forwarded-For": "203.0.113.9, 198.51.100.4",
            "X-Forwarded-Proto": "http",
        },
    )
    assert answer.status == 302
    # draft-ietf-httpbis-rfc6265bis-15, 4.1.3.2: Secure, Path=/, and no Domain.
    said = answer.headers["Set-Cookie"].lower()
    for name in (SESSION, CSRF):
        assert "secure" in (own := said.partition(f"{name.lower()}=")[2].partition("__host-")[0])
        assert "path=/" in own
    assert "domain=" not in said
    assert " sessionid=" not in f" {said}"
    (session,) = UserSession.objects.filter(user=person)
    assert session.ip == "127.0.0.7"


def test_browsers_are_kept_on_https(proxy):
    """RFC 6797: 6.1.1 max-age, 7.2 not over HTTP."""
    for path in ("/accounts/login/", "/no/such/page"):
        answer = proxy.ask("GET", path)
        assert answer.headers["Strict-Transport-Security"] == "max-age=31536000"
    too_large = proxy.ask("POST", "/accounts/login/", **{"Content-Length": str(102 * 1024**2)})
    assert too_large.status == 413
    assert b"larger than 100 MB" in too_large.body
    assert too_large.headers["Strict-Transport-Security"] == "max-age=31536000"
    moved = proxy.ask("GET", "/guide/?a=1", secure=False)
    assert (moved.status, moved.headers["Location"]) == (301, f"https://{HOST}/guide/?a=1")
    assert "Strict-Transport-Security" not in moved.headers


def test_requests_of_all_processes_are_counted(proxy):
    def counted() -> float:
        answer = proxy.ask("GET", "/metrics", Authorization="Bearer for-the-monitor")
        return sum(
            sample.value
            for family in text_string_to_metric_families(answer.body.decode())
            for sample in family.samples
            if sample.name == "duskpool_requests_total" and sample.labels["status"] == "404"
        )

    before = counted()
    for number in range(20):
        proxy.ask("GET", f"/no/such/page/{number}")
    # Whichever process answers.
    assert {counted() for _ in range(8)} == {before + 20}


def test_other_names_are_not_answered(proxy):
    def said(host: str, path: str) -> bytes:
        with proxy.connect(secure=False) as line:
            line.sendall(f"GET {path} HTTP/1.0\r\nHost: {host}\r\n\r\n".encode())
            return line.recv(100)

    assert said("other.example.org", "/") == b""
    assert b" 200 " in said("127.0.0.1", "/healthz").splitlines()[0]


def addresses_with_keys() -> Iterator[str]:
    """An address of every URL with a part that opens something to whoever has it."""
    for name, url in every_url():
        parts = {*url.pattern.converters, *url.pattern.regex.groupindex}
        if parts & KEYS:
            yield reverse(name, kwargs={part: KEY if part in KEYS else "1" for part in parts})


def test_no_key_is_in_the_log(proxy):
    asked = list(addresses_with_keys())
    assert len(asked) > 5
    deadline = time.monotonic() + 60
    for path in (*asked, f"/guide/?token={KEY}"):
        proxy.ask("GET", path, **{"Referer": f"https://{HOST}{path}", "User-Agent": KEY})
    # A line is written after its answer is sent.
    while not (log := proxy.log()).endswith("\n") or '"/guide/"' not in log.splitlines()[-1]:
        assert time.monotonic() < deadline, log.splitlines()[-3:]
        time.sleep(0.05)
    assert KEY not in log
    lines = [json.loads(line) for line in log.splitlines()]
    assert {line["address"] for line in lines} <= {"127.0.0.1", "127.0.0.7"}
    assert lines[-1]["path"] == "/guide/"
    assert lines[-2]["path"].endswith("/...")


@contextmanager
def database_away() -> Iterator[None]:
    """The connections of all others end, and none begins."""
    mine = connection.settings_dict["NAME"]
    params = {**connection.get_connection_params(), "dbname": "postgres"}
    with psycopg.connect(**params, autocommit=True) as beside:
        connection.close()
        name = sql.Identifier(mine)
        beside.execute(sql.SQL("ALTER DATABASE {} ALLOW_CONNECTIONS false").format(name))
        try:
            beside.execute(
                "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = %s", [mine]
            )
            yield
        finally:
            beside.execute(sql.SQL("ALTER DATABASE {} ALLOW_CONNECTIONS true").format(name))


def test_while_the_database_is_away_people_and_phones_are_asked_to_wait(
    proxy, client_for, observer, program
):
    """A page keeps what was sent, a program gets JSON, and once the database is back nothing has
    to be started anew."""
    cookie = session_cookie(client_for(observer), SESSION)
    visit = f"/api/v1/{program.slug}/visits/5b0c8a0e-3f0e-4b8e-9f59-1f2b64a4f2d7/"
    hello = f"/{program.slug}/survey/hello.json"
    form = {"Content-Type": "application/x-www-form-urlencoded", "Referer": f"https://{HOST}/"}
    token = "a" * 32
    sent = f"note=two+herons&csrfmiddlewaretoken={token}".encode()

    def ask_all() -> list[Answer]:
        return [
            proxy.ask("GET", f"/{program.slug}/tonight/", Cookie=cookie),
            proxy.ask("GET", "/accounts/login/", Cookie=cookie),
            proxy.ask("POST", f"/{program.slug}/sheets/new", sent, **form,
                      Cookie=f"{cookie}; {CSRF}={token}"),
            proxy.ask("GET", hello, Cookie=cookie),
            proxy.ask("PUT", visit, b"{}", Cookie=cookie, **{"Content-Type": "application/json"}),
        ]  # fmt: skip

    before = [answer.status for answer in ask_all()]
    with database_away():
        page, _, form_page, *phone = answers = ask_all()
        assert {answer.status for answer in answers} == {503}
        assert {answer.headers["Retry-After"] for answer in answers} == {"10"}
        assert b"Everything saved before is safe" in page.body
        assert b'name="note" value="two herons"' in form_page.body
        for answer in phone:
            assert "cannot reach its database" in json.loads(answer.body)["detail"]
        assert proxy.ask("GET", "/healthz").status == 200
        assert proxy.ask("GET", "/readyz").status == 503
    assert [answer.status for answer in ask_all()] == before


def test_an_app_that_is_away_is_told_and_no_key_with_it(tmp_path):
    """nginx writes the request beside its own errors, too."""
    with proxied(tmp_path / "proxy", free_port()) as proxy:
        answer = proxy.ask("GET", "/accounts/login/")
        for path in (*addresses_with_keys(), f"/guide/?token={KEY}"):
            assert proxy.ask("GET", path, Referer=f"https://{HOST}{path}").status == 503
            too_large = {"Content-Length": str(102 * 1024**2)}
            assert proxy.ask("POST", path, **too_large).status == 413
        logs = [log.read_text("utf-8") for log in proxy.folder.glob("*.log")]
    assert len(logs) >= 3
    assert KEY not in "".join(logs)
    assert (answer.status, answer.headers["Retry-After"]) == (503, "10")
    assert answer.headers["Strict-Transport-Security"] == "max-age=31536000"
