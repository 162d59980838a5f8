"""Workers that end are started again, at longer and longer pauses, until they are told to stop."""

import os
import sys
import threading
import time

import pytest

from surveys.runs.supervisor import Supervisor

PATIENCE_S = 60


def until(condition):
    begun = time.monotonic()
    while not condition():
        assert time.monotonic() - begun < PATIENCE_S
        time.sleep(0.02)


@pytest.fixture
def supervise():
    """Runs a supervisor beside the test and ends it."""
    started = []

    def begin(commands, **waits):
        supervisor = Supervisor(commands, **waits)
        thread = threading.Thread(target=supervisor.run)
        thread.start()
        started.append((supervisor, thread))
        return supervisor, thread

    yield begin
    for supervisor, thread in started:
        supervisor.stop()
        thread.join(PATIENCE_S)
        assert not thread.is_alive()


def notes(path):
    """A command that notes its start, and what it does next."""
    return lambda then: [
        sys.executable,
        "-c",
        f"import os, time\nopen({str(path)!r}, 'a').write(f'{{os.getpid()}}\\n')\n{then}",
    ]


def pids(path):
    return [int(line) for line in path.read_text().split()] if path.exists() else []


@pytest.mark.parametrize("ending", ["", "raise SystemExit(3)", "os.kill(os.getpid(), 9)"])
def test_a_worker_that_ends_is_started_again(supervise, tmp_path, ending):
    path = tmp_path / "starts"
    supervise({"quick": notes(path)(ending)}, first_wait_s=0.05, longest_wait_s=0.1)
    until(lambda: len(pids(path)) >= 3)


def test_the_others_run_on_meanwhile(supervise, tmp_path):
    ending, lasting = tmp_path / "ending", tmp_path / "lasting"
    supervise(
        {"fits": notes(ending)(""), "quick": notes(lasting)("time.sleep(600)")},
        first_wait_s=0.05,
    )
    until(lambda: len(pids(ending)) >= 2 and pids(lasting))
    assert len(pids(lasting)) == 1


def test_pauses_grow_up_to_the_longest(supervise, tmp_path, caplog):
    supervise(
        {"fits": notes(tmp_path / "starts")("")}, first_wait_s=0.1, longest_wait_s=0.3, steady_s=60
    )
    until(lambda: len(caplog.records) >= 4)
    told = [record.message.rpartition("again in ")[2] for record in caplog.records[:4]]
    assert told == ["0.1 s.", "0.2 s.", "0.3 s.", "0.3 s."]


def test_a_stop_ends_the_workers(supervise, tmp_path):
    path = tmp_path / "starts"
    supervisor, thread = supervise({"quick": notes(path)("time.sleep(600)")})
    until(lambda: pids(path))
    supervisor.stop()
    thread.join(PATIENCE_S)
    with pytest.raises(ProcessLookupError):
        os.kill(pids(path)[0], 0)
