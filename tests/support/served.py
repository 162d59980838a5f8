"""gunicorn as in real use, in processes of its own, on the database of the tests."""

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager, suppress
from http.client import HTTPConnection
from pathlib import Path
from urllib.parse import quote

from django.conf import settings
from django.db import connection

# On a machine with much else to do.
STARTS_WITHIN_S = 240
LARGE_PACKAGES = ("drf_spectacular_sidecar", "gis", "leaflet", "rest_framework")
PROJECT = Path(__file__).parents[2]


@contextmanager
def served(
    folder: Path, *, static_files: bool = False, environment: Mapping[str, str] | None = None
) -> Iterator[int]:
    """The port of a server with deploy/gunicorn.conf.py; its log is `folder`/gunicorn.log, and its
    processes are the group that `folder`/pid names.

    `static_files`: compressed and named by their content first, as a release does; without the
    files of large packages, so that no page with a map can be asked for.
    Raises RuntimeError with the end of the log when it does not answer.
    """
    port = free_port()
    environment = {
        **os.environ,
        "DATABASE_URL": _database_url(),
        "DJANGO_SETTINGS_MODULE": "tests.support.served_settings",
        "DUSKPOOL_BIND": f"127.0.0.1:{port}",
        "SERVED_SECRET_KEY": settings.SECRET_KEY,  # it signs sessions
        "SERVED_STATIC_ROOT": str(folder / "static"),
        "SERVED_MEDIA_ROOT": str(folder / "media"),
        **(environment or {}),
    }
    (folder / "static").mkdir(exist_ok=True)
    if static_files:
        collect = [sys.executable, "manage.py", "collectstatic", "--no-input", "--verbosity=0"]
        collect += [f"--ignore={name}" for name in LARGE_PACKAGES]
        subprocess.run(collect, cwd=PROJECT, env=environment, check=True)
    log = folder / "gunicorn.log"
    command = [sys.executable, "-m", "gunicorn", "-c", "deploy/gunicorn.conf.py", "deploy.wsgi"]
    with log.open("wb") as out:
        process = subprocess.Popen(
            command, cwd=PROJECT, env=environment, stdout=out, stderr=out, start_new_session=True
        )
        (folder / "pid").write_text(str(process.pid), "utf-8")
        try:
            _wait_for(port, process, log)
            yield port
        finally:
            with suppress(ProcessLookupError):
                os.killpg(process.pid, signal.SIGTERM)
            try:
                process.wait(timeout=20)
            except subprocess.TimeoutExpired:
                os.killpg(process.pid, signal.SIGKILL)
                process.wait()


def session_cookie(client, name: str = settings.SESSION_COOKIE_NAME) -> str:
    """The Cookie header of a signed-in django.test.Client, for another program to send.

    Sessions lie in the database, and both servers read them alike; `name` is that of the other."""
    return f"{name}={client.cookies[settings.SESSION_COOKIE_NAME].value}"


def _database_url() -> str:
    found = connection.settings_dict
    password = f":{quote(found['PASSWORD'], safe='')}" if found["PASSWORD"] else ""
    port = f":{found['PORT']}" if found["PORT"] else ""
    person = f"{quote(found['USER'], safe='')}{password}@" if found["USER"] else ""
    return f"postgis://{person}{quote(found['HOST'], safe='')}{port}/{found['NAME']}"


def free_port() -> int:
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return found.getsockname()[1]


def wait_for_port(port: int, process: subprocess.Popen) -> bool:
    """Whether the process answers there before it ends or takes too long."""
    deadline = time.monotonic() + STARTS_WITHIN_S
    while time.monotonic() < deadline and process.poll() is None:
        with suppress(OSError), socket.create_connection(("127.0.0.1", port), timeout=5):
            return True
        time.sleep(0.05)
    return False


def _wait_for(port: int, process: subprocess.Popen, log: Path) -> None:
    deadline = time.monotonic() + STARTS_WITHIN_S
    while time.monotonic() < deadline and process.poll() is None:
        try:
            with closing(HTTPConnection("127.0.0.1", port, timeout=5)) as asked:
                asked.request("GET", "/healthz")
                if asked.getresponse().status == 200:
                    return
        except OSError:
            time.sleep(0.1)
    raise RuntimeError(f"gunicorn did not start:\n{log.read_text('utf-8')[-2000:]}")
