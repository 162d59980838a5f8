"""The scripts in deploy/: what they say, refuse and leave behind."""

import os
import re
import shutil
import signal
import socket
import subprocess
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

import dj_database_url
import pytest

PROJECT = Path(__file__).resolve().parents[2]
BARE_ENVIRONMENT = {"HOME": "/root", "PATH": "/usr/sbin:/usr/bin:/sbin:/bin"}
LIBRARIES = ("common", "cluster", "venv", "packages", "service")

Result = subprocess.CompletedProcess[str]


def run(*command: str | Path, env: dict[str, str] | None = None) -> Result:
    return subprocess.run(
        [str(part) for part in command],
        env=env or BARE_ENVIRONMENT,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=300,
    )


def shell(project: Path, script: str) -> Result:
    """Run a script with the functions of deploy/lib, in a copy of the project."""
    sources = "".join(f"source {project}/deploy/lib/{name}.sh\n" for name in LIBRARIES)
    return run("bash", "-c", f"set -euo pipefail\n{sources}clean_environment\n{script}")


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    """The scripts in a folder of their own, so that nothing of this clone is touched."""
    shutil.copytree(
        PROJECT / "deploy", tmp_path / "deploy", ignore=shutil.ignore_patterns("__pycache__")
    )
    return tmp_path


# What they say


@pytest.mark.parametrize(
    ("script", "words"),
    [
        ("demo", ["--port N", "--bind ADDRESS", "--fresh", "--stop"]),
        ("test", ["--only-tests", "--only-checks", "--clean", "pytest"]),
        ("audit", ["--sbom-only", "--service", "needs\nthe network"]),
        ("backup", ["--keep N", "SHA256SUMS"]),
        ("restore", ["--force", "--database-only", "--owner USER", "checksums"]),
        ("offsite", ["--encrypt-to KEYFILE", "--keep N", "--record", "HOST:FOLDER"]),
        ("drill", ["--into URL", "--record"]),
    ],
)
def test_help_names_every_option(script: str, words: list[str]) -> None:
    result = run(PROJECT / "deploy" / script, "--help")
    assert result.returncode == 0
    assert [word for word in words if word not in result.stdout] == []


@pytest.mark.parametrize(
    ("command", "message"),
    [
        (["demo", "--port", "80000"], '"80000" is no port'),
        (["demo", "--port", "http"], '"http" is no port'),
        (["demo", "--port"], "needs a value"),
        (["demo", "--frehs"], 'unknown argument "--frehs"'),
        (["audit", "--service", "own"], '"own" is no service'),
        (["audit", "--service"], "needs a value"),
        (["backup", "--keep", "0", "x"], 'not "0"'),
        (["backup"], "say where the backup goes"),
        (["backup", "/tmp"], "DATABASE_URL is not set"),
        (["offsite", "/tmp"], "say from where and to where"),
        (["offsite", "/tmp", "/tmp"], "needs the file of a public key"),
        (["offsite", "--encrypt-to"], "needs a value"),
        (["drill"], "say where the backups are"),
        (["drill", "--into"], "needs the URL"),
        (["restore", "--owner"], "needs the name of a user"),
        (["restore"], "say which backup"),
        (["restore", "/nowhere"], "no complete backup"),
    ],
)
def test_a_wrong_call_says_what_is_wrong(copy: Path, command: list[str], message: str) -> None:
    result = run(copy / "deploy" / command[0], *command[1:])
    assert result.returncode != 0
    assert message in result.stderr


# Without the right to install


def tools_without_libraries(folder: Path) -> Path:
    """A PATH on which the system libraries look as if they were missing."""
    for tool in Path("/usr/bin").iterdir():
        if not tool.name.startswith(("apt", "sudo", "id")):
            (folder / tool.name).symlink_to(tool)
    write_tool(folder / "ldconfig", "exit 0")
    return folder


def write_tool(path: Path, body: str) -> None:
    path.write_text(f"#!/bin/sh\n{body}\n")
    path.chmod(0o755)


def test_without_apt_the_packages_wanted_are_named(copy: Path, tmp_path: Path) -> None:
    tools = tmp_path / "tools"
    tools.mkdir()
    tools_without_libraries(tools)
    (tools / "id").symlink_to("/usr/bin/id")
    result = run(copy / "deploy/demo", "--port", "8999", env={"PATH": str(tools), "HOME": "/root"})
    assert result.returncode == 1
    assert "apt-get install --no-install-recommends" in result.stderr
    assert "gdal-bin libpango-1.0-0 libpangoft2-1.0-0" in result.stderr
    assert "there is no apt-get" in result.stderr


def test_without_sudo_nothing_is_installed(copy: Path, tmp_path: Path) -> None:
    tools = tmp_path / "tools"
    tools.mkdir()
    tools_without_libraries(tools)
    write_tool(tools / "id", '[ "$1" = -u ] && echo 4711 || echo someone')
    write_tool(tools / "sudo", "exit 1")
    write_tool(tools / "apt-get", f"touch {tmp_path}/apt-was-called")
    result = run(copy / "deploy/demo", "--port", "8999", env={"PATH": str(tools), "HOME": "/root"})
    assert result.returncode == 1
    assert "not root, and sudo refuses" in result.stderr
    assert "gdal-bin" in result.stderr
    assert not (tmp_path / "apt-was-called").exists()


# The Unix socket


@pytest.mark.parametrize(
    ("bytes_in_path", "stays"),
    [(40, True), (107, True), (108, False), (300, False)],
)
def test_the_socket_moves_out_of_a_long_path(
    tmp_path: Path, bytes_in_path: int, stays: bool
) -> None:
    """Checked against the operating system, which is the one that sets the limit (unix(7))."""
    home = "/x/" + "d" * (bytes_in_path - len("/x//socket/.s.PGSQL.5432"))
    result = shell(PROJECT, f"socket_dir_for {home} root")
    assert (result.stdout.strip() == f"{home}/socket") is stays
    assert len(result.stdout.strip()) + len("/.s.PGSQL.5432") <= 107

    refusal = "No such file" if stays else "path too long"
    with socket.socket(socket.AF_UNIX) as probe, pytest.raises(OSError, match=refusal):
        probe.connect(f"{home}/socket/.s.PGSQL.5432")


def test_the_socket_moves_out_of_a_path_that_needs_quoting() -> None:
    assert shell(PROJECT, "socket_dir_for '/x/two words' root").stdout.startswith(
        "/tmp/duskpool-0-"
    )


def test_the_url_names_the_socket_to_django() -> None:
    url = shell(PROJECT, "CLUSTER_SOCKET=/tmp/tmp.AbC/var/socket; cluster_url duskpool").stdout
    parsed = dj_database_url.parse(url.strip())
    assert (parsed["HOST"], parsed["NAME"], parsed["USER"]) == (
        "/tmp/tmp.AbC/var/socket",
        "duskpool",
        "duskpool",
    )


# A private cluster, made for real


@pytest.fixture
def cluster(copy: Path) -> Iterator[Path]:
    yield copy
    shell(copy, "cluster_use postgres; cluster_remove")


UP = "cluster_use postgres; cluster_up duskpool; "


def test_a_cluster_survives_a_kill_and_a_cut_short_start(cluster: Path) -> None:
    first = shell(
        cluster, UP + 'cluster_sql duskpool -c "CREATE TABLE kept ()"; echo $CLUSTER_HOME'
    )
    assert first.returncode == 0, first.stdout + first.stderr
    home = Path(first.stdout.split()[-1])
    assert "Making the database cluster" in first.stdout
    assert shell(cluster, UP).stdout == ""

    postmaster = int((home / "data/postmaster.pid").read_text().split()[0])
    os.kill(postmaster, signal.SIGKILL)
    again = shell(cluster, UP + 'cluster_sql duskpool -c "SELECT count(*) FROM kept"')
    assert again.stdout.split()[-1] == "0", again.stdout + again.stderr

    ports = shell(cluster, UP + 'cluster_sql postgres -c "SHOW listen_addresses"')
    assert ports.stdout == "\n"

    # As if the very first start had been cut short half way.
    assert shell(cluster, "cluster_use postgres; cluster_stop").returncode == 0
    (home / "data/PG_VERSION").unlink()
    (home / "data.new").mkdir(exist_ok=True)
    remade = shell(cluster, UP + "cluster_sql duskpool -c 'SELECT postgis_lib_version()'")
    assert remade.returncode == 0, remade.stdout + remade.stderr
    assert "Making the database cluster" in remade.stdout

    removed = shell(cluster, "cluster_use postgres; cluster_remove")
    assert removed.returncode == 0, removed.stderr
    assert not home.exists()
    assert not os.path.lexists(cluster / "var/postgres")


# Background processes and progress


def test_a_service_is_started_seen_and_stopped(copy: Path) -> None:
    result = shell(
        copy,
        """
        service_start sleeper sleep 60
        service_alive sleeper && echo alive
        read -r pid _ <"$RUN_DIR/sleeper.pid"
        service_stop sleeper
        service_alive sleeper || echo gone
        kill -0 "$pid" 2>/dev/null || echo ended
        """,
    )
    assert result.stdout.split() == ["alive", "gone", "ended"]


def test_a_pid_that_went_to_another_process_is_left_alone(copy: Path) -> None:
    result = shell(
        copy,
        """
        mkdir -p "$RUN_DIR"
        sleep 30 & other=$!
        echo "$other 1" >"$RUN_DIR/web.pid"
        service_stop web
        kill -0 "$other" && echo spared
        kill "$other"
        """,
    )
    assert result.stdout.strip() == "spared"


def test_a_failed_step_shows_its_output_and_ends_the_script(copy: Path) -> None:
    result = shell(copy, 'work() { echo "the reason"; false; }; step "Working" work; echo went on')
    assert result.returncode == 1
    assert "the reason" in result.stderr
    assert '"Working" failed' in result.stderr
    assert "went on" not in result.stdout


@pytest.mark.parametrize(("status", "healthy"), [(200, True), (503, False)])
def test_health_is_a_200(status: int, healthy: bool) -> None:
    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self.send_response(status)
            self.end_headers()

        def log_message(self, *args: object) -> None:
            """Keep the test's output clean."""

    with HTTPServer(("127.0.0.1", 0), Handler) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        port = server.server_port
        result = shell(PROJECT, f"http_ok 127.0.0.1 {port} /healthz && echo healthy")
        taken = shell(PROJECT, f"port_taken 127.0.0.1 {port}")
        server.shutdown()
    assert (result.stdout.strip() == "healthy") is healthy
    assert taken.returncode == 0
    assert shell(PROJECT, f"port_taken 127.0.0.1 {port}").returncode != 0


# Units of systemd


UNITS = sorted((PROJECT / "deploy/systemd").iterdir())


@pytest.mark.parametrize("unit", UNITS, ids=lambda unit: unit.name)
def test_units_name_what_is_there(unit: Path) -> None:
    text = unit.read_text("utf-8")
    if unit.suffix == ".timer":
        assert unit.with_suffix(".service") in UNITS
        # What a machine that was off has missed is made up for.
        assert "OnCalendar=" not in text or "Persistent=yes" in text
    named = re.findall(r"/srv/duskpool/((?:deploy|manage)[\w./-]*)", text)
    assert [path for path in named if not (PROJECT / path).exists()] == []
    # systemd fills in what follows a dollar itself, and knows no ${NAME:+...}: "$$" is left to sh.
    for line in re.findall(r"^Exec\w+=/bin/sh.*", text, re.MULTILINE):
        assert "$" not in line.replace("$$", "")
