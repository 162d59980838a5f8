"""Doing something in a fork, within limits of time and memory."""

import contextlib
import json
import os
import resource
import signal
import time
import traceback
from collections.abc import Callable
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path

MEMORY_BYTES = 6 * 2**30


class Outcome(StrEnum):
    KILLED = "killed"
    TIMED_OUT = "timed out"
    SURVIVED = "survived"
    NOT_NOTICED = "not noticed"  # by a quick trial, which need not show all it does
    CRASHED = "crashed"
    NOT_TRIED = "not tried"


@dataclass(frozen=True, kw_only=True)
class Ended:
    """`said` is what the fork returned, empty when it died; `code` is its exit
    code, a negative signal's number, and `seconds` are CPU seconds."""

    said: dict = field(default_factory=dict)
    seconds: float
    in_time: bool
    code: int = 0


def in_fork(work: Callable[[], dict], folder: Path, *, cpu_seconds: float) -> Ended:
    """Call `work` in a fork and read what it returns. Ten times the CPU seconds and a minute on
    the clock end a fork that waits for something."""
    answer = folder / "fork.json"
    answer.unlink(missing_ok=True)
    pid = os.fork()
    if pid == 0:
        _work_and_exit(work, folder, answer, cpu_seconds)
    in_time, status, used = _wait(pid, 10 * cpu_seconds + 60)
    with contextlib.suppress(ProcessLookupError):
        os.killpg(pid, signal.SIGKILL)  # whatever it started
    code = os.waitstatus_to_exitcode(status)
    return Ended(
        said=json.loads(answer.read_text()) if answer.exists() else {},
        seconds=used.ru_utime + used.ru_stime,
        in_time=in_time and code not in (-signal.SIGXCPU, -signal.SIGPROF, -signal.SIGKILL),
        code=code,
    )


def _work_and_exit(
    work: Callable[[], dict], folder: Path, answer: Path, cpu_seconds: float
) -> None:
    try:
        os.setsid()
        most = int(cpu_seconds) + 1
        resource.setrlimit(resource.RLIMIT_CPU, (most, most + 5))
        resource.setrlimit(resource.RLIMIT_DATA, (MEMORY_BYTES, MEMORY_BYTES))
        os.environ["HYPOTHESIS_STORAGE_DIRECTORY"] = str(folder / "hypothesis")
        said = work()
        written = answer.with_suffix(".part")
        written.write_text(json.dumps(said))
        written.rename(answer)
    except BaseException:  # noqa: BLE001 - the fork must end here, and tell why
        (folder / "fork.error").write_text(traceback.format_exc())
    finally:
        os._exit(0)


def _wait(pid: int, most_seconds: float) -> tuple[bool, int, resource.struct_rusage]:
    """Whether it ended by itself, how, and what it used."""
    begun = time.monotonic()
    pause = 0.01
    while time.monotonic() - begun < most_seconds:
        done, status, used = os.wait4(pid, os.WNOHANG)
        if done:
            return True, status, used
        time.sleep(pause)
        pause = min(pause * 1.2, 0.1)
    os.killpg(pid, signal.SIGKILL)
    _, status, used = os.wait4(pid, 0)
    return False, status, used
