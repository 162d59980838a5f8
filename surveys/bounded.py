"""Reads a file that somebody sent in a process of its own, within limits of time and memory, once
the virus scanner has nothing against it, where the site has one.

A file can be made so that reading it takes hours, or all memory. `run` hands its bytes to a fresh
interpreter that turns bytes into bytes and is ended at its limits. It is not a fork: a fork of a
process that has threads may hang. It knows neither the database nor any secret, and cannot write
a file.
"""

import contextlib
import importlib
import json
import logging
import os
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import BinaryIO

from surveys import scanning
from surveys.language import gettext_noop, said

log = logging.getLogger(__name__)

_ROOT = Path(__file__).parents[1]
_REFUSED, _OUT_OF_MEMORY = 3, 4
_ENDED_BY_LIMIT = (-signal.SIGXCPU, -signal.SIGKILL, _OUT_OF_MEMORY)
# What a process needs of the environment to start; it gets nothing else of it.
_ENVIRONMENT = ("PATH", "LD_LIBRARY_PATH", "LANG")
_ONE_THREAD = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "PYTHONUTF8": "1"}
# An answer up to this size is kept in memory, a larger one in a file without a name.
_KEPT_IN_MEMORY, _MOST_ANSWERED = 4 * 1024**2, 512 * 1024**2
_PART, _LOGGED = 64 * 1024, 2000
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
    return run_file(module, function, BytesIO(content), limits, before=before)


def run_file(
    module: str, function: str, file: BinaryIO, limits: Limits, *, before: bytes = b""
) -> bytes:
    """As `run`, of an open file, which is not read into the memory of this process as a whole."""
    with _answer_of(module, function, file, limits, before) as answer:
        return answer.read()


def run_lines(
    module: str, function: str, content: bytes, limits: Limits, *, before: bytes = b""
) -> Iterator[bytes]:
    """As `run`, of a function that makes lines. None is yielded before all of them are made."""
    with _answer_of(module, function, BytesIO(content), limits, before) as answer:
        yield from answer


@contextlib.contextmanager
def _answer_of(
    module: str, function: str, file: BinaryIO, limits: Limits, before: bytes
) -> Iterator[BinaryIO]:
    _scan(file)
    file.seek(0)
    with tempfile.SpooledTemporaryFile(max_size=_KEPT_IN_MEMORY) as answer:
        if not _places.acquire(timeout=limits.seconds):
            raise BusyError
        try:
            code, errors = _started(module, function, (BytesIO(before), file), limits, answer)
        finally:
            _places.release()
        answer.seek(0)
        _check_ended(code, errors, answer)
        answer.seek(0)
        yield answer


def _scan(file: BinaryIO) -> None:
    try:
        scanning.check(file)
    except scanning.InfectedError as found:
        raise RefusedError(scanning.REFUSED, name=found.name) from None
    except scanning.ScannerAwayError as error:
        log.warning("The virus scanner: %s", error)
        raise RefusedError(scanning.AWAY) from None


def _started(
    module: str, function: str, given: tuple[BinaryIO, BinaryIO], limits: Limits, answer: BinaryIO
) -> tuple[int, bytes]:
    """What the other process ended with, and the end of its log; its answer goes into a file, as
    it cannot write to one itself. Raises OverLimitError."""
    known = {name: os.environ[name] for name in _ENVIRONMENT if name in os.environ}
    arguments = (module, function, str(limits.cpu_seconds), str(limits.memory_bytes))
    command = [sys.executable, "-c", "from surveys.bounded import serve; serve()", *arguments]
    pipe = subprocess.PIPE
    with subprocess.Popen(  # noqa: S603 - our own function, named by our own code
        command, stdin=pipe, stdout=pipe, stderr=pipe, cwd=_ROOT, env=known | _ONE_THREAD
    ) as process:
        over_time = threading.Event()
        logged: list[bytes] = []
        helpers = (
            threading.Thread(target=_give, args=(process.stdin, given)),
            threading.Thread(target=lambda: logged.append(process.stderr.read()[-_LOGGED:])),
        )
        watch = threading.Timer(limits.seconds, lambda: (over_time.set(), process.kill()))
        watch.start()
        for helper in helpers:
            helper.start()
        try:
            _keep(process.stdout, answer)
            code = process.wait()
        finally:
            watch.cancel()
            process.kill()
            for helper in helpers:
                helper.join()
    if over_time.is_set():
        raise OverLimitError
    return code, b"".join(logged)


def _give(stdin: BinaryIO, given: tuple[BinaryIO, BinaryIO]) -> None:
    # A process that ended early has no use for the rest.
    with contextlib.suppress(OSError), stdin:
        for part in given:
            shutil.copyfileobj(part, stdin)


def _keep(stdout: BinaryIO, answer: BinaryIO) -> None:
    size = 0
    while part := stdout.read(_PART):
        size += len(part)
        if size > _MOST_ANSWERED:
            raise OverLimitError
        answer.write(part)


def _check_ended(code: int, errors: bytes, answer: BinaryIO) -> None:
    if code == 0:
        return
    if code == _REFUSED:
        # It stands behind the lines that were made before.
        last = b""
        for line in answer:
            last = line
        refusal = json.loads(last)
        raise RefusedError(refusal["message"], **refusal["values"])
    if code in _ENDED_BY_LIMIT:
        raise OverLimitError
    log.warning("A file could not be read: %s", errors.decode(errors="replace"))
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
        for line in (result,) if isinstance(result, bytes) else result:
            sys.stdout.buffer.write(line)
    except RefusedError as refusal:
        values = {name: str(value) for name, value in refusal.values.items()}
        told = json.dumps({"message": refusal.message, "values": values}).encode()
        _answer(told, _REFUSED)
    except MemoryError:
        _answer(b"", _OUT_OF_MEMORY)
    _answer(b"", 0)


def _answer(result: bytes, code: int) -> None:
    sys.stdout.buffer.write(result)
    sys.stdout.buffer.flush()
    # Nothing is left to tidy, and tidying up may need memory that is not there.
    os._exit(code)
