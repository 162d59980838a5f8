"""The other process ends at its limits, and gives nothing away."""

import os
import threading

import pytest

from surveys import bounded
from surveys.bounded import BrokenError, BusyError, Limits, OverLimitError, RefusedError
from tests.support.bounded_work import (
    backwards,
    environment,
    fail,
    fill_memory,
    loop,
    refuse,
    sleep,
    write_a_file,
)

LIMITS = Limits(seconds=20, cpu_seconds=10, memory_bytes=256 * 1024**2)


def run(function, content=b"", limits=LIMITS):
    return bounded.run(function.__module__, function.__name__, content, limits)


def test_bytes_in_bytes_out():
    content = os.urandom(2_000_000)
    assert run(backwards, content) == content[::-1]


def test_a_refusal_is_told_in_the_language_of_the_process_that_asked():
    with pytest.raises(RefusedError, match="Row 3 is odd") as caught:
        run(refuse)
    assert (caught.value.message, caught.value.values) == ("Row {number} is odd.", {"number": "3"})


@pytest.mark.parametrize(
    ("function", "limits"),
    [
        (loop, Limits(seconds=20, cpu_seconds=1, memory_bytes=LIMITS.memory_bytes)),
        (sleep, Limits(seconds=0.5, cpu_seconds=10, memory_bytes=LIMITS.memory_bytes)),
        (fill_memory, LIMITS),
    ],
    ids=["work", "clock", "memory"],
)
def test_limits(function, limits):
    with pytest.raises(OverLimitError):
        run(function, limits=limits)


def test_an_error_of_its_own_is_no_error_here():
    with pytest.raises(BrokenError):
        run(fail)


def test_it_writes_no_file(tmp_path):
    with pytest.raises(BrokenError):
        run(write_a_file, bytes(tmp_path / "file"))


def test_it_knows_no_secret(monkeypatch):
    monkeypatch.setenv("DUSKPOOL_SECRET_KEY", "secret")
    monkeypatch.setenv("DATABASE_URL", "postgis://secret")
    assert "secret" not in run(environment).decode()


def test_only_so_many_at_a_time(monkeypatch):
    monkeypatch.setattr(bounded, "_places", threading.BoundedSemaphore(1))
    bounded._places.acquire()
    brief = Limits(seconds=0.1, cpu_seconds=1, memory_bytes=LIMITS.memory_bytes)
    with pytest.raises(BusyError, match="again in a minute"):
        run(backwards, limits=brief)
    bounded._places.release()
    for _ in range(2):
        assert run(backwards, b"ab") == b"ba", "a place is given back"
