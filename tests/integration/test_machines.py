"""A site of several machines as deploy/machines.md says: nginx in front of two web hosts under the
settings of real use, a pgbouncer with fewer connections than they have threads, and a bucket."""

import os
import signal
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack

import pytest
from django.db import connection
from django.test import override_settings

from surveys.models import Recording
from tests.integration.test_proxy import CSRF, REAL_USE, SESSION
from tests.support.builders import make_checklist, make_route
from tests.support.object_server import client_of, object_server, storage_in
from tests.support.pooled import pooled
from tests.support.proxied import HOST, Answer, Proxy, proxied
from tests.support.served import free_port, served, session_cookie
from tests.support.sheets import make_draft
from tests.support.sounds import PIECE, Uploader, checksum, sound

pytestmark = pytest.mark.django_db(transaction=True)

CONNECTIONS = 2
AT_ONCE = 16
PART = 20_000
TOKEN = "a" * 32


def connections_of_others() -> int:
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT count(*) FROM pg_stat_activity"
            " WHERE datname = current_database() AND pid <> pg_backend_pid()"
        )
        return cursor.fetchone()[0]


def send_part(proxy: Proxy, phone: Uploader, cookie: str, first: int, last: int) -> Answer:
    part = phone.content[first:last]
    headers = {
        "Cookie": f"{cookie}; {CSRF}={TOKEN}",
        "X-CSRFToken": TOKEN,
        "Referer": f"https://{HOST}/",
        "Tus-Resumable": "1.0.0",
        "Content-Type": PIECE,
        "Upload-Offset": str(first),
        "Upload-Checksum": checksum(part),
    }
    return proxy.ask("PATCH", phone.place, part, **headers)


def send_all(proxy: Proxy, phone: Uploader, cookie: str, told: list[int]) -> None:
    """As a phone does: after an answer that is no success it asks how much has arrived, and goes on
    from there. `told` gets what it is answered."""
    first = 0
    while first < len(phone.content):
        answer = send_part(proxy, phone, cookie, first, min(first + PART, len(phone.content)))
        told.append(answer.status)
        if answer.status == 503:
            assert answer.headers["Retry-After"]
            asked = {"Cookie": cookie, "Tus-Resumable": "1.0.0"}
            answer = proxy.ask("HEAD", phone.place, **asked)
        first = int(answer.headers["Upload-Offset"])


def test_two_web_hosts_with_a_pool_and_a_bucket(tmp_path, client_for, coordinator, program):
    make_checklist(program)
    visit = make_draft(coordinator, make_route(program))
    client = client_for(coordinator)
    cookie = session_cookie(client, SESSION)
    pool_port, folders = free_port(), [tmp_path / "first", tmp_path / "second"]

    with ExitStack() as pool, ExitStack() as around:
        bucket = around.enter_context(object_server("files"))
        environment = REAL_USE | {
            "DUSKPOOL_POOL_URL": pool.enter_context(pooled(pool_port, size=CONNECTIONS)),
            "DUSKPOOL_BUCKET": "files",
            "DUSKPOOL_BUCKET_ENDPOINT": bucket,
            "DUSKPOOL_BUCKET_REGION": "us-east-1",
            "DUSKPOOL_BUCKET_KEY": "key",
            "DUSKPOOL_BUCKET_SECRET": "word",
            # Neither has a disk of uploaded files.
            "DUSKPOOL_MEDIA_ROOT": str(tmp_path / "none"),
        }
        ports = []
        for folder in folders:
            folder.mkdir()
            ports.append(around.enter_context(served(folder, environment=environment)))
        proxy = around.enter_context(proxied(tmp_path / "proxy", *ports))
        seasons = f"/{program.slug}/seasons/"

        def read(_number: int = 0) -> int:
            return proxy.ask("GET", seasons, Cookie=cookie).status

        with ThreadPoolExecutor(AT_ONCE) as people:
            assert set(people.map(read, range(2 * AT_ONCE))) == {200}
        assert connections_of_others() <= CONNECTIONS

        # nginx asks one after the other, so each gets half of the recording.
        phone = Uploader(client=client, visit=visit, content=sound(300_000))
        with override_settings(STORAGES={"default": storage_in(bucket, "files")}):
            assert phone.begin().status_code == 201
        for first in (0, 150_000):
            sent = send_part(proxy, phone, cookie, first, first + 150_000)
            assert (sent.status, sent.headers["Upload-Offset"]) == (204, str(first + 150_000))
        logs = [(folder / "gunicorn.log").read_text("utf-8") for folder in folders]
        assert all("PATCH" in log for log in logs)
        recording = f"/{program.slug}/recordings/{Recording.objects.get().pk}"
        assert proxy.ask("GET", recording, Cookie=cookie).body == phone.content
        (stored,) = client_of(bucket).list_objects_v2(Bucket="files")["Contents"]
        assert stored["Size"] == 300_000
        assert not (tmp_path / "none").exists()

        calls = f"/api/v1/{program.slug}/records/calls/export/?format=csv"
        assert proxy.ask("GET", calls, Cookie=cookie).status == 200

        # A host is killed while people read and a phone sends, and the pool is started again.
        second = Uploader(client=client, visit=visit, content=sound(1_000_000, seed=2))
        with override_settings(STORAGES={"default": storage_in(bucket, "files")}):
            assert second.begin().status_code == 201
        with ThreadPoolExecutor(AT_ONCE) as people:
            told: list[int] = []
            sending = people.submit(send_all, proxy, second, cookie, told)
            while len(told) < 3 and not sending.done():
                time.sleep(0.01)
            reading = people.map(read, range(4 * AT_ONCE))
            os.killpg(int((folders[0] / "pid").read_text("utf-8")), signal.SIGKILL)
            assert set(reading) == {200}
            sending.result()
        assert len(told) >= len(second.content) / PART
        assert set(told) <= {204, 503}
        arrived = f"/{program.slug}/recordings/{second.id}"
        assert proxy.ask("GET", arrived, Cookie=cookie).body == second.content
        pool.close()
        assert read() == 503
        pool.enter_context(pooled(pool_port, size=CONNECTIONS))
        assert {read() for _ in range(AT_ONCE)} == {200}
        assert proxy.ask("GET", recording, Cookie=cookie).body == phone.content
