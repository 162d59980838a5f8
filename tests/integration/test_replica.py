"""A read replica as deploy/machines.md says: two PostgreSQL clusters, one following the other, and
gunicorn under the settings of real use behind nginx."""

import time
from collections.abc import Callable

import pytest
from django.urls import reverse

from surveys.models import Visit
from surveys.web.reading import COOKIE, READ_THERE
from tests.integration.test_access import every_url
from tests.integration.test_proxy import CSRF, REAL_USE, SESSION
from tests.support.builders import make_checklist, make_route
from tests.support.proxied import HOST, Answer, Proxy, proxied
from tests.support.served import served, session_cookie
from tests.support.sheets import make_submitted
from tests.support.streaming import Cluster, streaming

pytestmark = pytest.mark.django_db(transaction=True)

OTHERS = (
    "/{}/seasons/table.csv",
    "/{}/seasons/changed/",
    "/{}/seasons/coverage/",
    "/{}/seasons/map/",
    "/{}/seasons/visits/",
    "/{}/trends/",
    "/{}/trends/table.csv",
    "/{}/trends/compare/",
    "/{}/publications/",
    "/api/v1/{}/records/visits/",
    "/api/v1/{}/records/stops/",
    "/api/v1/{}/seasons/route-years/",
    "/api/v1/{}/seasons/coverage/?season_year=2024",
    "/api/v1/{}/trends/",
    "/api/v1/{}/trends/species/",
    "/api/v1/{}/publications/",
)
TOKEN = "a" * 32
PATIENCE_S = 20


def test_every_page_that_is_read_there_exists_and_saves_nothing():
    assert {name for name, _ in every_url()} >= READ_THERE
    # Those of a publication that is withdrawn are closed at once, not when the replica hears of it.
    assert {name for name in READ_THERE if "_file" in name} == set()


def reads(cluster: Cluster) -> int:
    """Rows of routes and visits that this cluster has read: results need them, and what asks who
    somebody is and how far the cluster has got does not."""
    with cluster.open() as there:
        there.execute("SELECT pg_stat_clear_snapshot()")
        found = there.execute(
            "SELECT sum(idx_tup_fetch + seq_tup_read) FROM pg_stat_user_tables"
            " WHERE relname IN ('surveys_route', 'surveys_visit')"
        )
        return found.fetchone()[0] or 0


def wait_until(done: Callable[[], bool]) -> None:
    deadline = time.monotonic() + PATIENCE_S
    while not done():
        assert time.monotonic() < deadline
        time.sleep(0.05)


def test_results_are_read_from_the_replica_and_own_changes_at_once(
    tmp_path, client_for, coordinator, observer, program
):
    make_checklist(program)
    route = make_route(program)
    visit = make_submitted(observer, route)
    cookie = f"{session_cookie(client_for(coordinator), SESSION)}; {CSRF}={TOKEN}"
    seasons = f"/{program.slug}/seasons/?year={visit.season_year}"
    calls = f"/api/v1/{program.slug}/records/calls/"
    with streaming() as (first, second):
        there = {
            "DATABASE_URL": first.url,
            "DUSKPOOL_REPLICA_URL": second.url,
            "DUSKPOOL_MEDIA_ROOT": str(tmp_path / "media"),
        }
        with (
            served(tmp_path, environment=REAL_USE | there) as port,
            proxied(tmp_path / "proxy", port) as proxy,
        ):

            def read(path: str, cookies: str = cookie) -> Answer:
                answer = proxy.ask("GET", path, Cookie=cookies)
                assert answer.status == 200, answer.body
                return answer

            def read_there(path: str = seasons) -> bool:
                before = reads(second)
                read(path)
                return reads(second) > before

            wait_until(read_there)
            assert b'"results":[]' in read(calls).body

            # It stands still, and somebody accepts a visit.
            with second.open() as replica:
                replica.execute("SELECT pg_wal_replay_pause()")
            saved = accept(proxy, visit, cookie)
            with second.open() as replica:
                state = replica.execute("SELECT state FROM surveys_visit").fetchone()
            assert state == ("submitted",)
            assert b'"results":[]' not in read(calls, f"{cookie}; {COOKIE}={saved}").body
            with second.open() as replica:
                replica.execute("SELECT pg_wal_replay_resume()")
            wait_until(read_there)
            wait_until(lambda: read_there(calls))
            assert b'"results":[]' not in read(calls).body
            for path in OTHERS:
                read(path.format(program.slug))
            # What it refused or broke off.
            assert "on the primary instead" not in (tmp_path / "gunicorn.log").read_text("utf-8")

            second.stop()
            assert {read(seasons).status for _ in range(8)} == {200}
            asked = proxy.ask("GET", "/metrics", Authorization="Bearer for-the-monitor")
            assert b"duskpool_replica_up 0.0" in asked.body
            assert b'"database": "ok"' in proxy.ask("GET", "/readyz").body


def accept(proxy: Proxy, visit: Visit, cookie: str) -> str:
    """How far the primary had come then, as the cookie of the answer says."""
    at = {"program": visit.route.program.slug, "visit_id": visit.pk}
    answer = proxy.ask(
        "POST",
        reverse("api:accept", kwargs=at),
        **{
            "Cookie": cookie,
            "X-CSRFToken": TOKEN,
            "Referer": f"https://{HOST}/",
            "If-Match": f'"{visit.revision}"',
        },
    )
    assert answer.status == 200, answer.body
    return answer.headers["Set-Cookie"].split(f"{COOKIE}=")[1].split(";")[0].strip('"')
