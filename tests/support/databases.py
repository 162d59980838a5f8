"""The database of a test run: made anew for each run, and out of reach of every other.

A template holds the migrated tables without rows. It is made once and kept for as long as what it
is made from stays the same; it gets its name only when it is finished, so half of one is never
used. Each process of a run (pytest-xdist has several) copies it to a database under a name that
no run had before, and drops the copy at the end.

A run that is killed can drop nothing, and what it started may live on: a worker would go on taking
jobs. It can only do so in its own database, which no other run ever opens. The next run drops it,
connections and all. A run that still lives is told by its advisory lock: PostgreSQL lets go of it
when the connection ends, however the process did.
"""

import hashlib
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.metadata import distributions
from pathlib import Path

from django.conf import settings
from django.db import DEFAULT_DB_ALIAS, connection, connections
from django.db.backends.base.base import NO_DB_ALIAS, BaseDatabaseWrapper

_ROOT = Path(__file__).parents[2]
_SCHEMA = ("accounts/migrations", "accounts/models.py", "surveys/migrations", "surveys/models",
           "deploy/settings", "tests/support/databases.py")  # fmt: skip


_ID_DIGITS = 10


@contextmanager
def database_of_this_run() -> Iterator[str]:
    """Django's connection leads to a new database, which is dropped in the end. Gives its name."""
    base = connection.settings_dict["TEST"]["NAME"]
    before = connection.settings_dict["NAME"]
    name = f"{base}_run_{secrets.token_hex(_ID_DIGITS // 2)}"
    server = _server()
    try:
        _lock(server, name)
        _drop_databases_of_dead_runs(server, base)
        _copy_template(server, base, name)
        connect_to(name)
        yield name
    finally:
        connect_to(before)
        _drop(server, name)
        server.close()


@contextmanager
def another_database(template: str | None = None) -> Iterator[str]:
    """Django's connection leads to a database without any table, or to a copy of another one, to
    try migrations on. Gives its name."""
    base = connection.settings_dict["TEST"]["NAME"]
    before = connection.settings_dict["NAME"]
    name = f"{base}_run_{secrets.token_hex(_ID_DIGITS // 2)}"
    server = _server()
    try:
        _lock(server, name)
        connection.close()  # Nobody may use the template.
        _execute(server, f'CREATE DATABASE "{name}" TEMPLATE "{template or "template1"}"')
        connect_to(name)
        yield name
    finally:
        connect_to(before)
        _drop(server, name)
        server.close()


def migrated_template() -> str:
    """Name of the database with our tables and no rows that this run's own is a copy of."""
    return f"{connection.settings_dict['TEST']['NAME']}_template_{_fingerprint()}"


def _server() -> BaseDatabaseWrapper:
    """A connection beside the one of the tests, to the database that every server has."""
    server = type(connections[DEFAULT_DB_ALIAS])(
        {**connection.settings_dict, "NAME": None}, alias=NO_DB_ALIAS
    )
    server.set_autocommit(True)
    return server


def _copy_template(server: BaseDatabaseWrapper, base: str, name: str) -> None:
    template = migrated_template()
    with _locked(server, f"{base}_template"):
        if template not in _databases(server, f"{base}_template_"):
            for outdated in _databases(server, f"{base}_template_"):
                _drop(server, outdated)
            _make_template(server, base, template)
        _execute(server, f'CREATE DATABASE "{name}" TEMPLATE "{template}"')


def _make_template(server: BaseDatabaseWrapper, base: str, template: str) -> None:
    unfinished = f"{base}_unfinished"
    _drop(server, unfinished)
    connection.settings_dict["TEST"]["NAME"] = unfinished
    try:
        connection.creation.create_test_db(verbosity=0, autoclobber=True, serialize=False)
    finally:
        connection.settings_dict["TEST"]["NAME"] = base
        connection.close()
    _execute(server, f'ALTER DATABASE "{unfinished}" RENAME TO "{template}"')


def _fingerprint() -> str:
    """Of all that the empty tables depend on: models, migrations, settings, packages."""
    digest = hashlib.sha256()
    for place in _SCHEMA:
        path = _ROOT / place
        for file in sorted(path.rglob("*") if path.is_dir() else [path]):
            if file.suffix in (".py", ".sql"):
                digest.update(f"{file.relative_to(_ROOT)}\n".encode() + file.read_bytes())
    packages = sorted(f"{package.name} {package.version}" for package in distributions())
    digest.update("\n".join(packages).encode())
    return digest.hexdigest()[:12]


def _drop_databases_of_dead_runs(server: BaseDatabaseWrapper, base: str) -> None:
    """Also those that a run made beside its own: their names begin with its name."""
    beginning = f"{base}_run_"
    for name in _databases(server, beginning):
        run = name[: len(beginning) + _ID_DIGITS]
        if _answer(server, "SELECT pg_try_advisory_lock(hashtextextended(%s, 0))", run):
            _drop(server, name)
            _answer(server, "SELECT pg_advisory_unlock(hashtextextended(%s, 0))", run)


def connect_to(name: str) -> None:
    connection.close()
    settings.DATABASES[DEFAULT_DB_ALIAS]["NAME"] = name
    connection.settings_dict["NAME"] = name


def _databases(server: BaseDatabaseWrapper, prefix: str) -> list[str]:
    with server.cursor() as cursor:
        cursor.execute(
            "SELECT datname FROM pg_database WHERE starts_with(datname, %s) ORDER BY 1", [prefix]
        )
        return [name for (name,) in cursor]


@contextmanager
def _locked(server: BaseDatabaseWrapper, name: str) -> Iterator[None]:
    _lock(server, name)
    try:
        yield
    finally:
        _answer(server, "SELECT pg_advisory_unlock(hashtextextended(%s, 0))", name)


def _lock(server: BaseDatabaseWrapper, name: str) -> None:
    _answer(server, "SELECT pg_advisory_lock(hashtextextended(%s, 0))", name)


def _drop(server: BaseDatabaseWrapper, name: str) -> None:
    _execute(server, f'DROP DATABASE IF EXISTS "{name}" WITH (FORCE)')


def _answer(server: BaseDatabaseWrapper, question: str, *values: object) -> object:
    with server.cursor() as cursor:
        cursor.execute(question, values)
        return cursor.fetchone()[0]


def _execute(server: BaseDatabaseWrapper, statement: str) -> None:
    with server.cursor() as cursor:
        cursor.execute(statement)
