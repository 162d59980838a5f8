"""pgbouncer as deploy/machines.md has it, before the database of the tests."""

import contextlib
import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

from django.db import connection

from tests.support.served import wait_for_port

_CONFIGURATION = """
[databases]
tests = {database}
[pgbouncer]
listen_addr = 127.0.0.1
listen_port = {port}
unix_socket_dir =
auth_type = any
pool_mode = transaction
default_pool_size = {size}
max_client_conn = 500
"""


@contextlib.contextmanager
def pooled(port: int, *, size: int) -> Iterator[str]:
    """The URL of the database through a pool of so many connections. Raises RuntimeError."""
    folder = Path(tempfile.mkdtemp(prefix="pool-"))
    folder.chmod(0o755)
    file = folder / "pgbouncer.ini"
    file.write_text(_CONFIGURATION.format(database=_database(), port=port, size=size))
    command = ["pgbouncer", "--quiet", *_as_other_user(), str(file)]
    log = (folder / "log").open("wb")
    with log, subprocess.Popen(command, stdout=log, stderr=log) as process:
        try:
            if not wait_for_port(port, process):
                told = (folder / "log").read_text("utf-8")
                raise RuntimeError(f"pgbouncer did not start:\n{told}")
            yield f"postgis://anybody@127.0.0.1:{port}/tests"
        finally:
            process.kill()
            process.wait()
            shutil.rmtree(folder)


def _database() -> str:
    found = connection.settings_dict
    known = {
        "host": found["HOST"],
        "port": found["PORT"],
        "dbname": found["NAME"],
        "user": found["USER"],
        "password": found["PASSWORD"],
    }
    return " ".join(f"{name}={value}" for name, value in known.items() if value)


def _as_other_user() -> list[str]:
    """It refuses to run as root; whom the socket of the database belongs to may open it."""
    if os.getuid() != 0:
        return []
    host = Path(connection.settings_dict["HOST"])
    return ["--user", pwd.getpwuid(host.stat().st_uid).pw_name if host.is_dir() else "nobody"]
