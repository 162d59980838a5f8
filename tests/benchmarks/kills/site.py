"""A whole site of its own to kill: PostgreSQL, gunicorn and the workers, each begun again as
systemd would. Nothing of it touches the database of the tests."""

import json
import os
import random
import shutil
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from contextlib import closing, suppress
from http.client import HTTPConnection, HTTPException
from pathlib import Path

import psycopg

from tests.benchmarks.kills.clock import Clock
from tests.benchmarks.kills.disks import DATABASE_BYTES, MEDIA_BYTES, SmallDisk, may_mount
from tests.integration.test_deploy_scripts import PROJECT, shell

USE = "cluster_use postgres; "
# On a machine with much else to do.
STARTS_WITHIN_S = 900
ANSWERS_WITHIN_S = 20
LOOKS_AFTER_S = 30
LOOK_EVERY_S = 0.5
STOPS_WITHIN_S = 15
FULL_FOR_S = (1.0, 4.0)
DAY_S = 24 * 3600


class Site:
    def __init__(self, folder: Path, *, clock_jumps: bool = False) -> None:
        self.folder = folder
        self.clock = Clock() if clock_jumps else None
        self.disks: dict[str, SmallDisk] = {}
        shutil.copytree(
            PROJECT / "deploy", folder / "deploy", ignore=shutil.ignore_patterns("__pycache__")
        )
        self.processes: dict[str, subprocess.Popen[bytes]] = {}
        self.over = threading.Event()
        self.lock = threading.Lock()
        self.migrated = 0
        for name in ("media", "static", "mail"):
            (folder / name).mkdir()

    def begin(self) -> dict:
        self._give_clock_to_database()
        up = self._shell('cluster_up duskpool; echo "$CLUSTER_SOCKET $CLUSTER_HOME"')
        self.socket, self.home = up.split()[-2:]
        if may_mount():
            self._make_disks()
        with socket.socket() as found:
            found.bind(("127.0.0.1", 0))
            self.port = found.getsockname()[1]
        self.environment = {
            **os.environ,
            "DATABASE_URL": f"postgis://duskpool@{self.socket.replace('/', '%2F')}/duskpool",
            "DJANGO_SETTINGS_MODULE": "tests.benchmarks.kills.settings",
            "DUSKPOOL_BIND": f"127.0.0.1:{self.port}",
            "SERVED_SECRET_KEY": "only-for-the-site-that-is-killed",
            "SERVED_STATIC_ROOT": str(self.folder / "static"),
            "SERVED_MEDIA_ROOT": str(self.folder / "media"),
            "KILLED_MAIL": str(self.folder / "mail"),
            **(self.clock.environment if self.clock else {}),
        }
        python = [sys.executable, "manage.py"]
        self._run([*python, "migrate", "--no-input", "--verbosity=0"])
        facts = json.loads(self._run([sys.executable, "-m", "tests.benchmarks.kills.seed"]))
        gunicorn = ["-m", "gunicorn", "-c", "deploy/gunicorn.conf.py", "deploy.wsgi"]
        self.commands = {
            "web": [sys.executable, *gunicorn],
            "worker": [*python, "run_workers"],
            "worker2": [*python, "run_workers"],
        }
        threading.Thread(target=self._look_after, daemon=True).start()
        self.wait_for_web()
        return facts

    def end(self) -> None:
        self.over.set()
        with self.lock:
            for process in self.processes.values():
                with suppress(ProcessLookupError):
                    os.killpg(process.pid, signal.SIGKILL)
                process.wait()
        self._shell("cluster_stop immediate")
        for disk in self.disks.values():
            disk.end()
        self._shell("cluster_remove")
        if self.clock:
            self.clock.end()

    def _make_disks(self) -> None:
        """PostgreSQL moves onto its own with what it has made so far."""
        self.disks["media full"] = SmallDisk(self.folder / "media", MEDIA_BYTES)
        self._shell("cluster_stop")
        data, before = Path(self.home, "data"), Path(self.home, "data.before")
        subprocess.run(["cp", "-a", data, before], check=True)
        self.disks["database full"] = SmallDisk(data, DATABASE_BYTES)
        subprocess.run(["cp", "-a", f"{before}/.", data], check=True)
        shutil.rmtree(before)
        self._shell("cluster_start")

    def _give_clock_to_database(self) -> None:
        if self.clock is None:
            return
        script = self.folder / "deploy/lib/cluster.sh"
        more = " ".join(f"{name}={value}" for name, value in self.clock.environment.items())
        old = script.read_text("utf-8")
        new = old.replace("env -i PATH=", f"env -i {more} PATH=")
        if new == old:
            raise ValueError("cluster.sh begins PostgreSQL in another way.")
        script.write_text(new, "utf-8")

    def connect(self) -> psycopg.Connection:
        return psycopg.connect(
            host=self.socket,
            user="duskpool",
            dbname="duskpool",
            autocommit=True,
            connect_timeout=30,
        )

    # Kills

    def kill(self, what: str, rng: random.Random) -> bool:
        """Whether there was something to kill."""
        if what == "postmaster":
            return self._end_postmaster(signal.SIGKILL)
        if what == "restart":
            return self._end_postmaster(signal.SIGINT)  # "fast shutdown": pg_ctl stop
        if what == "migration":
            return self._migrate()
        if what == "backend":
            return self._signal(self._backends(), rng)
        if what in self.disks:
            return self._fill(what, rng)
        if what == "clock":
            return self._jump(rng)
        name, _, part = what.partition(" ")
        name = rng.choice(["worker", "worker2"]) if name == "worker" else name
        process = self.processes.get(name)
        if process is None or process.poll() is not None:
            return False
        if part == "all":
            with suppress(ProcessLookupError):
                os.killpg(process.pid, signal.SIGKILL)
            return True
        return self._signal(children_of(process.pid), rng)

    def _end_postmaster(self, number: int) -> bool:
        with self.lock:
            pid = int(Path(self.home, "data/postmaster.pid").read_text().split()[0])
            os.kill(pid, number)
            asked = time.monotonic()
            while Path(f"/proc/{pid}").exists():
                # PostgreSQL 15 waits for ever when it is asked to stop while it recovers from a
                # crash; systemd, too, ends it then.
                if time.monotonic() - asked > STOPS_WITHIN_S:
                    with suppress(ProcessLookupError):
                        os.kill(pid, signal.SIGKILL)
                time.sleep(0.05)
            self._shell("cluster_start")
        return True

    def _migrate(self) -> bool:
        """A new column and its index, as the linter of migrations lets them through."""
        self.migrated += 1
        column, index = f"tried_{self.migrated}", f"tried_index_{self.migrated}"
        with suppress(psycopg.Error), self.connect() as there:
            there.execute("SET lock_timeout = '30s'")
            there.execute(f"ALTER TABLE surveys_visit ADD COLUMN {column} int DEFAULT 0 NOT NULL")
            there.execute(f"CREATE INDEX CONCURRENTLY {index} ON surveys_visit ({column})")
            return True
        return False

    def _fill(self, what: str, rng: random.Random) -> bool:
        self.disks[what].fill(rng.uniform(*FULL_FOR_S))
        with self.lock:
            # A server that could not write its log has ended, and is begun again by whoever made
            # room, or by systemd.
            if not self._postmaster_lives():
                self._shell("cluster_start")
        return True

    def _postmaster_lives(self) -> bool:
        file = Path(self.home, "data/postmaster.pid")
        return file.exists() and Path(f"/proc/{file.read_text().split()[0]}").exists()

    def _jump(self, rng: random.Random) -> bool:
        """A day ahead or back, and right again after some seconds."""
        if self.clock is None:
            return False
        self.clock.set(rng.choice((DAY_S, -DAY_S)))
        time.sleep(rng.uniform(2, 20))
        self.clock.set(0)
        return True

    def _backends(self) -> list[int]:
        try:
            with self.connect() as there:
                query = (
                    "SELECT pid FROM pg_stat_activity WHERE backend_type = 'client backend'"
                    " AND pid <> pg_backend_pid()"
                )
                return [pid for (pid,) in there.execute(query)]
        except psycopg.Error:
            return []

    @staticmethod
    def _signal(pids: list[int], rng: random.Random) -> bool:
        if not pids:
            return False
        with suppress(ProcessLookupError):
            os.kill(rng.choice(sorted(pids)), signal.SIGKILL)
            return True
        return False

    # What keeps it going

    def _look_after(self) -> None:
        """Begin again what has ended, as `Restart=always` does; all of a unit ends together."""
        while not self.over.wait(LOOK_EVERY_S):
            with self.lock:
                if self.over.is_set():
                    return
                for name, command in self.commands.items():
                    process = self.processes.get(name)
                    if process is None or process.poll() is not None:
                        self._start(name, command, process)

    def _start(self, name: str, command: list[str], dead: subprocess.Popen[bytes] | None) -> None:
        if dead is not None:
            with suppress(ProcessLookupError):
                os.killpg(dead.pid, signal.SIGKILL)
        with (self.folder / f"{name}.log").open("ab") as log:
            self.processes[name] = subprocess.Popen(
                command,
                cwd=PROJECT,
                env=self.environment,
                stdout=log,
                stderr=log,
                start_new_session=True,
            )

    def wait_for_web(self) -> tuple[float, float]:
        """Seconds until the server answered, and then until the database did. A long wait is
        looked into while it lasts: slow.log."""
        began = time.monotonic()
        self._wait("server", self._server_answers)
        between = time.monotonic()
        self._wait("database", self._database_answers)
        return between - began, time.monotonic() - between

    def _wait(self, what: str, answers: Callable[[], bool]) -> None:
        began, looked = time.monotonic(), 0
        while not answers():
            waited = time.monotonic() - began
            if waited > STARTS_WITHIN_S:
                raise RuntimeError(f"The {what} does not answer:\n{self._log_end('slow')}")
            if waited > LOOKS_AFTER_S * (looked + 1):
                looked += 1
                self._look_into(f"{what} silent for {waited:.0f} s")
            time.sleep(0.3)

    def _server_answers(self) -> bool:
        with (
            suppress(OSError, HTTPException),
            closing(HTTPConnection("127.0.0.1", self.port, timeout=ANSWERS_WITHIN_S)) as asked,
        ):
            asked.request("GET", "/healthz")
            return asked.getresponse().status == 200
        return False

    def _database_answers(self) -> bool:
        with suppress(psycopg.Error):
            self.connect().close()
            return True
        return False

    def _look_into(self, why: str) -> None:
        """Whose fault a long wait is: is the machine busy, are processes there, what do they wait
        for?"""
        load = Path("/proc/loadavg").read_text().strip()
        groups = ",".join(str(process.pid) for process in self.processes.values())
        columns = "pid,ppid,stat,wchan:24,time,nlwp,args"
        ps = subprocess.run(
            ["ps", "-o", columns, "-g", groups], capture_output=True, text=True, check=False
        ).stdout
        asked = []
        with suppress(psycopg.Error), self.connect() as there:
            asked = there.execute(
                "SELECT pid, state, wait_event_type, wait_event, now() - xact_start, query"
                " FROM pg_stat_activity WHERE backend_type = 'client backend'"
            ).fetchall()
        with (self.folder / "slow.log").open("a", encoding="utf-8") as log:
            log.write(f"{time.ctime()}: {why}; load {load}\n{ps}\n")
            log.writelines(f"  {row}\n" for row in asked)
            log.write(f"web.log ends with\n{self._log_end('web')}\n\n")

    def _log_end(self, name: str) -> str:
        file = self.folder / f"{name}.log"
        return file.read_text("utf-8", "replace")[-3000:] if file.exists() else ""

    def _shell(self, script: str) -> str:
        done = shell(self.folder, USE + script)
        if done.returncode:
            raise RuntimeError(done.stdout + done.stderr)
        return done.stdout

    def _run(self, command: list[str]) -> str:
        done = subprocess.run(
            command, cwd=PROJECT, env=self.environment, capture_output=True, text=True, check=False
        )
        if done.returncode:
            raise RuntimeError(done.stdout + done.stderr)
        return done.stdout


def children_of(pid: int) -> list[int]:
    return [int(one) for one in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]
