"""Two PostgreSQL clusters, of which the second follows the first: a copy of the test database and
its read replica, as deploy/machines.md says."""

import contextlib
import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

import psycopg
from django.db import connection

ROLE, DATABASE = "duskpool", "streamed"
_SETTINGS = """
listen_addresses = ''
unix_socket_directories = '{folder}'
shared_buffers = 16MB
max_connections = 40
fsync = off
wal_level = replica
hot_standby_feedback = on
wal_retrieve_retry_interval = 100ms
"""


@dataclass(frozen=True, kw_only=True)
class Cluster:
    folder: Path

    @property
    def url(self) -> str:
        return f"postgis://{ROLE}@{quote(str(self.folder), safe='')}/{DATABASE}"

    def open(self) -> psycopg.Connection:
        return psycopg.connect(host=str(self.folder), user=ROLE, dbname=DATABASE, autocommit=True)

    def start(self) -> None:
        log = self.folder / "log"
        _run("pg_ctl", "start", "--silent", "--wait", "-D", self.folder / "data", "-l", log)

    def stop(self) -> None:
        _run("pg_ctl", "stop", "--silent", "--mode=immediate", "-D", self.folder / "data")


@contextlib.contextmanager
def streaming() -> Iterator[tuple[Cluster, Cluster]]:
    """The primary, with what the test database has now, and its replica."""
    folder = Path(tempfile.mkdtemp(prefix="streaming-"))
    first, second = (Cluster(folder=folder / name) for name in ("first", "second"))
    for cluster in (first, second):
        cluster.folder.mkdir(mode=0o700)
    if os.getuid() == 0:
        for path in (folder, first.folder, second.folder):
            shutil.chown(path, "postgres")
    try:
        _run("initdb", "-D", first.folder / "data", "-U", ROLE, "--auth=trust", "--no-sync",
             "--encoding=UTF8", "--locale=C.UTF-8")  # fmt: skip
        _settings(first)
        first.start()
        _copy_into(first)
        _run("pg_basebackup", "-h", first.folder, "-U", ROLE, "-D", second.folder / "data",
             "--write-recovery-conf", "--checkpoint=fast", "--no-sync")  # fmt: skip
        _settings(second)
        second.start()
        yield first, second
    finally:
        for cluster in (second, first):
            with contextlib.suppress(subprocess.CalledProcessError):
                cluster.stop()
        shutil.rmtree(folder)


def _settings(cluster: Cluster) -> None:
    with (cluster.folder / "data/postgresql.conf").open("a") as file:
        file.write(_SETTINGS.format(folder=cluster.folder))


def _copy_into(cluster: Cluster) -> None:
    found = connection.settings_dict
    at = [f"--{name}={found[key]}" for name, key in _AT.items() if found[key]]
    environment = os.environ | ({"PGPASSWORD": found["PASSWORD"]} if found["PASSWORD"] else {})
    dump = cluster.folder / "dump"
    with dump.open("wb") as out:
        subprocess.run(
            [_bin("pg_dump"), "-Fc", "-Z0", *at, found["NAME"]],
            stdout=out, env=environment, check=True,
        )  # fmt: skip
    _run("createdb", "-h", cluster.folder, "-U", ROLE, DATABASE)
    _run("pg_restore", "-h", cluster.folder, "-U", ROLE, "-d", DATABASE, "--no-owner", dump)


_AT = {"host": "HOST", "port": "PORT", "username": "USER"}


def _bin(name: str) -> str:
    newest = max(Path("/usr/lib/postgresql").iterdir(), key=lambda path: int(path.name))
    return str(newest / "bin" / name)


def _run(name: str, *arguments: str | Path) -> None:
    """PostgreSQL refuses to run as root."""
    user = pwd.getpwnam("postgres") if os.getuid() == 0 else None
    subprocess.run(
        [_bin(name), *map(str, arguments)],
        cwd="/", check=True, stdout=subprocess.DEVNULL,
        **({"user": user.pw_uid, "group": user.pw_gid} if user else {}),
    )  # fmt: skip
