"""Pages through a pgbouncer that lends a connection for a transaction, as deploy/machines.md says:
gunicorn under the settings of real use, with fewer connections than it has threads."""

from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from http.client import HTTPConnection

import pytest
from django.db import connection

from surveys.models import Recording
from tests.integration.test_proxy import CSRF, REAL_USE, SESSION
from tests.support.builders import make_checklist, make_route
from tests.support.pooled import pooled
from tests.support.proxied import HOST, Answer
from tests.support.served import free_port, served, session_cookie
from tests.support.sheets import make_draft
from tests.support.sounds import PIECE, Uploader, checksum, sound

pytestmark = pytest.mark.django_db(transaction=True)

CONNECTIONS = 2
AT_ONCE = 16
TOKEN = "a" * 32


def connections_of_others() -> int:
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT count(*) FROM pg_stat_activity"
            " WHERE datname = current_database() AND pid <> pg_backend_pid()"
        )
        return cursor.fetchone()[0]


def test_pages_uploads_and_exports_go_through_a_pool(tmp_path, client_for, coordinator, program):
    make_checklist(program)
    visit = make_draft(coordinator, make_route(program))
    client = client_for(coordinator)
    cookie = session_cookie(client, SESSION)
    pool_port = free_port()

    with ExitStack() as pool, ExitStack() as server:
        url = pool.enter_context(pooled(pool_port, size=CONNECTIONS))
        environment = REAL_USE | {
            "DUSKPOOL_POOL_URL": url,
            "DUSKPOOL_MEDIA_ROOT": str(tmp_path / "media"),
        }
        port = server.enter_context(served(tmp_path, environment=environment))

        def ask(method: str, path: str, body: bytes = b"", **headers: str) -> Answer:
            line = HTTPConnection("127.0.0.1", port, timeout=120)
            known = {"Host": HOST, "X-Forwarded-Proto": "https", "Cookie": cookie}
            line.request(method, path, body, known | headers)
            answer = line.getresponse()
            found = Answer(answer.status, dict(answer.headers), answer.read())
            line.close()
            return found

        seasons = f"/{program.slug}/seasons/"
        with ThreadPoolExecutor(AT_ONCE) as people:
            answers = list(people.map(lambda _: ask("GET", seasons), range(2 * AT_ONCE)))
        assert {answer.status for answer in answers} == {200}
        assert connections_of_others() <= CONNECTIONS

        phone = Uploader(client=client, visit=visit, content=sound(300_000))
        assert phone.begin().status_code == 201
        sent = ask(
            "PATCH",
            phone.place,
            phone.content,
            **{
                "Cookie": f"{cookie}; {CSRF}={TOKEN}",
                "X-CSRFToken": TOKEN,
                "Referer": f"https://{HOST}/",
                "Tus-Resumable": "1.0.0",
                "Content-Type": PIECE,
                "Upload-Offset": "0",
                "Upload-Checksum": checksum(phone.content),
            },
        )
        assert (sent.status, sent.headers["Upload-Offset"]) == (204, "300000")
        recording = f"/{program.slug}/recordings/{Recording.objects.get().pk}"
        assert ask("GET", recording).body == phone.content

        export = ask("GET", f"/api/v1/{program.slug}/records/calls/export/?format=csv")
        assert export.status == 200
        assert export.body

        # It is started again, at the same address.
        pool.close()
        assert ask("GET", seasons).status == 503
        pool.enter_context(pooled(pool_port, size=CONNECTIONS))
        assert {ask("GET", seasons).status for _ in range(AT_ONCE)} == {200}
