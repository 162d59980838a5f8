"""Backups: made, brought back, copied elsewhere, and tried."""

import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import quote

import psycopg
import pytest
from django.db import connection

from tests.integration.test_deploy_scripts import BARE_ENVIRONMENT, PROJECT, Result, run, write_tool
from tests.support.databases import migrated_template


class Databases:
    """Scratch databases beside the test database."""

    def __init__(self) -> None:
        self.settings = connection.settings_dict
        self.names: list[str] = []

    def url(self, name: str) -> str:
        user = quote(self.settings["USER"], safe="")
        password = quote(self.settings["PASSWORD"], safe="")
        host = quote(self.settings["HOST"], safe="")
        port = f":{self.settings['PORT']}" if self.settings["PORT"] else ""
        account = f"{user}:{password}" if password else user
        return f"postgis://{account}@{host}{port}/{name}"

    def open(self, name: str) -> psycopg.Connection:
        return psycopg.connect(
            dbname=name,
            user=self.settings["USER"],
            password=self.settings["PASSWORD"],
            host=self.settings["HOST"],
            port=self.settings["PORT"] or None,
            autocommit=True,
        )

    def create(self, suffix: str, template: str = "template1") -> str:
        name = f"{self.settings['NAME']}_{suffix}"
        with self.open("postgres") as server:
            server.execute(f'DROP DATABASE IF EXISTS "{name}"')
            server.execute(f'CREATE DATABASE "{name}" TEMPLATE "{template}"')
        self.names.append(name)
        return name

    def drop_all(self) -> None:
        with self.open("postgres") as server:
            for name in self.names:
                server.execute(f'DROP DATABASE IF EXISTS "{name}"')


@pytest.fixture
def databases(db: None) -> Iterator[Databases]:
    made = Databases()
    assert made.settings["NAME"].startswith("test_")
    yield made
    made.drop_all()


def script_environment(url: str, media: Path) -> dict[str, str]:
    return BARE_ENVIRONMENT | {"DATABASE_URL": url, "DUSKPOOL_MEDIA_ROOT": str(media)}


@pytest.mark.django_db
def test_a_backup_comes_back_whole(databases: Databases, tmp_path: Path) -> None:
    media, folder = tmp_path / "two words", tmp_path / "backups"
    (media / "photos").mkdir(parents=True)
    (media / "photos" / "egg mass.jpg").write_bytes(b"\xff\xd8 picture")

    def backup(name: str, *arguments: str) -> Path:
        result = run(
            PROJECT / "deploy/backup",
            *arguments,
            folder,
            env=script_environment(databases.url(name), media),
        )
        assert result.returncode == 0, result.stderr
        return Path(result.stdout.splitlines()[0].rsplit(" (", 1)[0])

    def restore(source: Path, name: str, into: Path, *arguments: str) -> Result:
        return run(
            PROJECT / "deploy/restore",
            *arguments,
            source,
            env=script_environment(databases.url(name), into),
        )

    # The migrated test database, and then one more trip with rows in it.
    schema = backup(databases.settings["NAME"])
    first, second = databases.create("first"), databases.create("second")
    assert restore(schema, first, tmp_path / "media-1").returncode == 0
    with databases.open(first) as rows:
        rows.execute("INSERT INTO django_session VALUES ('kept', 'data', now())")
    (folder / "notes.txt").write_text("not a backup")
    whole = backup(first, "--keep", "1")
    assert sorted(path.name for path in folder.iterdir()) == [whole.name, "notes.txt"]

    result = restore(whole, second, tmp_path / "media-2")
    assert result.returncode == 0, result.stderr
    assert (tmp_path / "media-2/photos/egg mass.jpg").read_bytes() == b"\xff\xd8 picture"
    assert schema_of(databases, second) == schema_of(databases, databases.settings["NAME"])

    refused = restore(whole, second, tmp_path / "media-3")
    assert refused.returncode == 1
    assert "the database is not empty" in refused.stderr
    assert not (tmp_path / "media-3").exists()

    with databases.open(second) as rows:
        rows.execute(
            "DELETE FROM django_session; CREATE TABLE extra (); CREATE TYPE odd AS ENUM ('a')"
        )
    forced = restore(whole, second, tmp_path / "media-2", "--force")
    assert forced.returncode == 0, forced.stderr
    with databases.open(second) as rows:
        assert rows.execute("SELECT session_key FROM django_session").fetchall() == [("kept",)]
    assert schema_of(databases, second) == schema_of(databases, databases.settings["NAME"])
    assert len(list(tmp_path.glob("media-2.before-*"))) == 1

    (whole / "media.tar").write_bytes(b"damaged")
    damaged = restore(whole, second, tmp_path / "media-2", "--force")
    assert damaged.returncode == 1
    assert "its checksums do not fit" in damaged.stderr
    with databases.open(second) as rows:
        assert rows.execute("SELECT count(*) FROM django_session").fetchone() == (1,)


def schema_of(databases: Databases, name: str) -> list[str]:
    """Every table, column, routine, trigger, constraint and type outside PostGIS."""
    query = """
        SELECT format('column %s.%s %s', attrelid::regclass, attname,
                format_type(atttypid, atttypmod))
            FROM pg_attribute a JOIN pg_class c ON c.oid = a.attrelid
            WHERE attnum > 0 AND NOT attisdropped AND relkind IN ('r', 'v', 'm', 'p')
            AND relnamespace = 'public'::regnamespace
        UNION SELECT format('routine %s', oid::regprocedure) FROM pg_proc
            WHERE pronamespace = 'public'::regnamespace
        UNION SELECT format('trigger %s.%s', tgrelid::regclass, tgname) FROM pg_trigger
            WHERE NOT tgisinternal
        UNION SELECT format('constraint %s.%s', conrelid::regclass, conname) FROM pg_constraint
            WHERE conrelid <> 0
        UNION SELECT format('index %s', indexrelid::regclass) FROM pg_index
            WHERE indrelid::regclass::text !~ '^pg_'
        UNION SELECT format('type %s', oid::regtype) FROM pg_type
            WHERE typnamespace = 'public'::regnamespace
    """
    with databases.open(name) as rows:
        return sorted(row[0] for row in rows.execute(query).fetchall())


# Copies elsewhere, and drills


@pytest.fixture(scope="module")
def keyring() -> Iterator[Path]:
    """A keyring of its own with a key pair, and the public key beside it."""
    home = Path(tempfile.mkdtemp(prefix="dk-"))  # the path of its socket has to be short
    gpg = ["gpg", "--batch", "--quiet", "--homedir", str(home)]
    key = ["--passphrase", "", "--quick-gen-key", "backup@surveys.example", "default", "default"]
    subprocess.run([*gpg, *key, "never"], check=True, capture_output=True)
    exported = subprocess.run([*gpg, "--armor", "--export"], check=True, capture_output=True)
    (home / "public.asc").write_bytes(exported.stdout)
    yield home
    subprocess.run(["gpgconf", "--homedir", str(home), "--kill", "all"], check=True)
    shutil.rmtree(home)


@pytest.fixture
def told(databases: Databases, tmp_path: Path) -> dict[str, str]:
    """Environment of scripts that write down how they ended, into a database with our tables."""
    name = databases.create("told", template=migrated_template())
    environment = script_environment(databases.url(name), tmp_path / "media")
    path = f"{Path(sys.executable).parent}:{BARE_ENVIRONMENT['PATH']}"
    return environment | {"PATH": path, "DJANGO_SETTINGS_MODULE": "deploy.settings.test"}


def notes_in(databases: Databases) -> list[tuple[str, bool, str]]:
    with databases.open(databases.names[-1]) as rows:
        query = "SELECT kind, ok, detail FROM surveys_operationrecord ORDER BY id"
        return rows.execute(query).fetchall()


def a_backup(environment: dict[str, str], folder: Path, *arguments: str) -> Path:
    result = run(PROJECT / "deploy/backup", *arguments, folder, env=environment)
    assert result.returncode == 0, result.stderr
    return Path(result.stdout.splitlines()[0].rsplit(" (", 1)[0])


@pytest.mark.django_db
@pytest.mark.parametrize("host", [pytest.param("", marks=pytest.mark.slow), "elsewhere:"])
def test_a_copy_elsewhere_is_encrypted_and_comes_back(
    databases: Databases, told: dict[str, str], tmp_path: Path, keyring: Path, host: str
) -> None:
    """`host`: by ssh; what stands for it runs the line of shell here, as sshd would there."""
    tools = tmp_path / "tools"
    tools.mkdir()
    write_tool(tools / "ssh", 'while [ "$1" != -- ]; do shift; done; exec sh -c "$3"')
    environment = told | {"PATH": f"{tools}:{told['PATH']}", "GNUPGHOME": str(keyring)}
    media, folder, away = tmp_path / "media", tmp_path / "backups", tmp_path / "far away"
    (media / "photos").mkdir(parents=True)
    (media / "photos/egg mass.jpg").write_bytes(b"a picture of eggs" * 100)
    made = a_backup(environment, folder)

    def offsite(*arguments: str) -> Result:
        command = [PROJECT / "deploy/offsite", "--encrypt-to", keyring / "public.asc", *arguments]
        return run(*command, folder, f"{host}{away}", env=environment)

    copied = offsite("--record")
    assert copied.returncode == 0, copied.stderr
    copy = away / made.name
    assert {path.name for path in copy.iterdir()} == {
        *(f"{name}.gpg" for name in ("database.dump", "media.tar", "tables.txt", "SHA256SUMS")),
        "SHA256SUMS",
    }
    assert not any(b"picture of eggs" in path.read_bytes() for path in copy.iterdir())
    assert "is there already" in offsite().stdout
    ((kind, ok, detail),) = notes_in(databases)
    assert (kind, ok) == ("offsite_copy", True)
    assert made.name in detail

    other = script_environment(databases.url(databases.create("back")), tmp_path / "back")
    refused = run(PROJECT / "deploy/restore", copy, env=other | {"GNUPGHOME": str(tmp_path)})
    assert refused.returncode == 1
    assert "could not be opened" in refused.stderr
    back = run(PROJECT / "deploy/restore", copy, env=other | {"GNUPGHOME": str(keyring)})
    assert back.returncode == 0, back.stderr
    assert (tmp_path / "back/photos/egg mass.jpg").read_bytes() == b"a picture of eggs" * 100

    # What arrives damaged is no copy.
    shutil.rmtree(copy)
    write_tool(tools / "sha256sum", 'case "$*" in *--check*) exec /usr/bin/sha256sum "$@";; esac\n'
               '/usr/bin/sha256sum "$@" | tr 0-4 5-9')  # fmt: skip
    damaged = offsite()
    assert damaged.returncode == 1
    assert "not what was sent" in damaged.stderr
    assert not copy.exists()


@pytest.mark.django_db
def test_a_drill_says_whether_the_newest_backup_comes_back(
    databases: Databases, told: dict[str, str], tmp_path: Path
) -> None:
    folder = tmp_path / "backups"

    def drill() -> Result:
        return run(PROJECT / "deploy/drill", "--record", folder, env=told)

    with databases.open(databases.names[0]) as rows:
        rows.execute("INSERT INTO django_session VALUES ('kept', 'data', now())")
    made = a_backup(told, folder, "--record")
    came_back = drill()
    assert came_back.returncode == 0, came_back.stderr

    # A row more in the dump than at the moment of the backup, as if the dump were another's.
    sums = (made / "tables.txt").read_text()
    line = next(line for line in sums.splitlines() if line.startswith("public.django_session|"))
    (made / "tables.txt").write_text(sums.replace(line, "public.django_session|0|0"))
    sign(made)
    differs = drill()
    assert differs.returncode == 1
    assert line in differs.stderr
    (of_backup, first, second) = notes_in(databases)
    assert of_backup[:2] == ("backup", True)
    assert made.name in of_backup[2]
    assert first[:2] == ("restore_drill", True)
    assert f"{len(sums.splitlines())} tables" in first[2]
    assert second[1:] == (
        False,
        f"deploy/drill: {made} does not come back as it was: 1 tables differ.",
    )
    with databases.open("postgres") as server:
        query = "SELECT datname FROM pg_database WHERE datname LIKE %s"
        assert server.execute(query, [f"{databases.names[0]}_drill"]).fetchall() == []


@pytest.mark.django_db
def test_files_in_a_bucket_are_left_there(
    databases: Databases, told: dict[str, str], tmp_path: Path
) -> None:
    """As deploy/machines.md says. What lies in the folder of uploaded files is not the site's."""
    media = Path(told["DUSKPOOL_MEDIA_ROOT"])
    media.mkdir()
    (media / "of another site").write_bytes(b"x")
    bucket = told | {"DUSKPOOL_BUCKET": "files"}
    made = a_backup(bucket, tmp_path / "backups")
    listed = subprocess.run(["tar", "--list", f"--file={made}/media.tar"], capture_output=True)
    assert (listed.returncode, listed.stdout) == (0, b"")
    back = run(PROJECT / "deploy/restore", "--force", made, env=bucket)
    assert back.returncode == 0, back.stderr
    assert [path.name for path in tmp_path.glob("media*")] == ["media"]
    assert (media / "of another site").exists()


@pytest.fixture
def plain_role(databases: Databases) -> Iterator[str]:
    """A role like that of deploy/production.md: it owns its database and nothing else."""
    name = f"{databases.settings['NAME']}_plain"
    with databases.open("postgres") as server:
        server.execute(f"CREATE ROLE \"{name}\" LOGIN PASSWORD '{databases.settings['PASSWORD']}'")
        yield name
        databases.drop_all()
        server.execute(f'DROP ROLE "{name}"')


@pytest.mark.django_db
def test_a_role_without_rights_brings_a_backup_back(
    databases: Databases, told: dict[str, str], plain_role: str, tmp_path: Path
) -> None:
    """PostGIS belongs to the superuser who installed it, its coordinate systems too."""
    made = a_backup(told, tmp_path / "backups")
    scratch = databases.create("scratch")
    with databases.open("postgres") as server:
        server.execute(f'ALTER DATABASE "{scratch}" OWNER TO "{plain_role}"')
    with databases.open(scratch) as rows:
        rows.execute("CREATE EXTENSION IF NOT EXISTS postgis")
    user = quote(databases.settings["USER"], safe="")
    url = databases.url(scratch).replace(f"//{user}", f"//{plain_role}", 1)
    drill = [PROJECT / "deploy/drill", "--into", url, tmp_path / "backups"]
    for _ in range(2):  # the first leaves it empty for the next
        came_back = run(*drill, env=told)
        assert came_back.returncode == 0, came_back.stderr
        assert f"{made} came back" in came_back.stdout


def sign(backup: Path) -> None:
    names = ["database.dump", "media.tar", "tables.txt"]
    sums = subprocess.run(["sha256sum", *names], cwd=backup, check=True, capture_output=True)
    (backup / "SHA256SUMS").write_bytes(sums.stdout)


@pytest.mark.django_db
@pytest.mark.skipif(os.getuid() != 0, reason="Only root gives files to others.")
def test_root_leaves_files_that_the_server_can_write(databases: Databases, tmp_path: Path) -> None:
    media = tmp_path / "media"
    (media / "photos").mkdir(parents=True)
    (media / "photos/a.jpg").write_bytes(b"a")
    made = a_backup(
        script_environment(databases.url(databases.create("own")), media), tmp_path / "b"
    )
    for path in (media, media / "photos", media / "photos/a.jpg"):
        shutil.chown(path, "nobody", "nogroup")
    environment = script_environment(databases.url(databases.create("back")), media)
    for arguments, owner in ((["--force"], "nobody"), (["--force", "--owner", "daemon"], "daemon")):
        result = run(PROJECT / "deploy/restore", *arguments, made, env=environment)
        assert result.returncode == 0, result.stderr
        assert {path.owner() for path in (media, *media.rglob("*"))} == {owner}
