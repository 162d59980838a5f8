"""Reads a file that somebody sent in a process of its own, within limits of time and memory, once
the virus scanner has nothing against it, where the site has one.

A file can be made so that reading it takes hours, or all memory. `run` hands its bytes to a fresh
interpreter that turns bytes into bytes and is ended at its limits. It is not a fork: a fork of a
process that has threads may hang. It knows neither the database nor any secret, and cannot write
a file.
"""

import importlib
import json
import logging
import os
import resource
import signal
import subprocess
import sys
import threading
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path

from surveys import scanning
from surveys.language import gettext_noop, said

log = logging.getLogger(__name__)

_ROOT = Path(__file__).parents[1]
_REFUSED, _OUT_OF_MEMORY = 3, 4
_ENDED_BY_LIMIT = (-signal.SIGXCPU, -signal.SIGKILL, _OUT_OF_MEMORY)
# What a process needs of the environment to start; it gets nothing else of it.
_ENVIRONMENT = ("PATH", "LD_LIBRARY_PATH", "LANG")
_ONE_THREAD = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "PYTHONUTF8": "1"}
# As many as this web process or worker reads at the same time; the others wait.
_places = threading.BoundedSemaphore(2)


@dataclass(frozen=True, kw_only=True)
class Limits:
    """`seconds` by the clock: many times `cpu_seconds`, the seconds of work, because the machine
    may be busy. As long may a file wait for its turn."""

    seconds: float
    cpu_seconds: int
    memory_bytes: int


class RefusedError(Exception):
    """What the reading function found wrong with the file: a marked text and its values. Only the
    process that asked knows in which language it is read."""

    def __init__(self, message: str, /, **values: object) -> None:
        super().__init__(message)
        self.message = message
        self.values = values

    def __str__(self) -> str:
        return said(self.message, **self.values)


class BusyError(RefusedError):
    def __init__(self) -> None:
        super().__init__(
            gettext_noop(
                "Too many files are being read right now. Send this one again in a minute."
            )
        )


class OverLimitError(Exception):
    """Reading the file took more time or memory than it may."""


class BrokenError(Exception):
    """The reading function ended with an error of its own: the file is broken."""


def run(
    module: str, function: str, content: bytes, limits: Limits, *, before: bytes = b""
) -> bytes:
    """What `function` of `module`, from bytes to bytes, makes of a file; `before` is put before it
    by us.

    Raises RefusedError, OverLimitError, BrokenError.
    """
    _scan(content)
    if not _places.acquire(timeout=limits.seconds):
        raise BusyError
    try:
        return _result(_started(module, function, before + content, limits))
    except subprocess.TimeoutExpired:
        raise OverLimitError from None
    finally:
        _places.release()


def _scan(content: bytes) -> None:
    try:
        scanning.check(BytesIO(content))
    except scanning.InfectedError as found:
        raise RefusedError(scanning.REFUSED, name=found.name) from None
    except scanning.ScannerAwayError as error:
        log.warning("The virus scanner: %s", error)
        raise RefusedError(scanning.AWAY) from None


def _started(
    module: str, function: str, content: bytes, limits: Limits
) -> subprocess.CompletedProcess[bytes]:
    known = {name: os.environ[name] for name in _ENVIRONMENT if name in os.environ}
    arguments = (module, function, str(limits.cpu_seconds), str(limits.memory_bytes))
    return subprocess.run(  # noqa: S603 - our own function, named by our own code
        [sys.executable, "-c", "from surveys.bounded import serve; serve()", *arguments],
        input=content,
        capture_output=True,
        timeout=limits.seconds,
        cwd=_ROOT,
        env=known | _ONE_THREAD,
        check=False,
    )


def _result(ended: subprocess.CompletedProcess[bytes]) -> bytes:
    if ended.returncode == 0:
        return ended.stdout
    if ended.returncode == _REFUSED:
        refusal = json.loads(ended.stdout)
        raise RefusedError(refusal["message"], **refusal["values"])
    if ended.returncode in _ENDED_BY_LIMIT:
        raise OverLimitError
    log.warning("A file could not be read: %s", ended.stderr.decode(errors="replace")[-2000:])
    raise BrokenError


def serve() -> None:
    """The other process: read standard input, write the result to standard output."""
    module, function, cpu_seconds, memory_bytes = sys.argv[1:]
    for limit, most in (
        (resource.RLIMIT_CPU, int(cpu_seconds)),
        (resource.RLIMIT_AS, int(memory_bytes)),
        (resource.RLIMIT_FSIZE, 0),
        (resource.RLIMIT_CORE, 0),
    ):
        resource.setrlimit(limit, (most, most))
    try:
        result = getattr(importlib.import_module(module), function)(sys.stdin.buffer.read())
    except RefusedError as refusal:
        values = {name: str(value) for name, value in refusal.values.items()}
        result = json.dumps({"message": refusal.message, "values": values}).encode()
        _answer(result, _REFUSED)
    except MemoryError:
        _answer(b"", _OUT_OF_MEMORY)
    _answer(result, 0)


def _answer(result: bytes, code: int) -> None:
    sys.stdout.buffer.write(result)
    sys.stdout.buffer.flush()
    # Nothing is left to tidy, and tidying up may need memory that is not there.
    os._exit(code)
