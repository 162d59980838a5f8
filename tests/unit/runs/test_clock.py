"""A clock that jumps is noticed; one that is set by a little is not."""

import asyncio
from types import SimpleNamespace

import pytest

from surveys.management.commands import work
from surveys.runs import clock

DAY_S = 86_400.0


@pytest.fixture
def off(monkeypatch):
    """By how many seconds the clock of the wall is off; what waits goes by the other one."""
    told = SimpleNamespace(by=0.0)
    known = SimpleNamespace(time=lambda: 1_700_000_000.0 + told.by, monotonic=lambda: 100.0)
    monkeypatch.setattr(clock, "time", known)
    return told


@pytest.mark.parametrize("by", [DAY_S, -DAY_S, 61.0, -61.0])
def test_a_jump_is_told(off, by):
    async def look():
        watch = asyncio.create_task(clock.jump(every_s=0.001))
        await asyncio.sleep(0.01)
        off.by = 59.0 if by > 0 else -59.0
        await asyncio.sleep(0.02)
        assert not watch.done()
        off.by = by
        assert await asyncio.wait_for(watch, 10) == by

    asyncio.run(look())


def test_a_worker_begins_anew_when_the_clock_jumped_and_its_jobs_are_done(off, monkeypatch):
    ended = []
    jump = clock.jump
    monkeypatch.setattr(clock, "jump", lambda: jump(every_s=0.001))

    async def worker():
        try:
            await asyncio.sleep(60)
        except asyncio.CancelledError:
            await asyncio.sleep(0.01)
            ended.append("its jobs are done")
            raise

    async def run():
        working = asyncio.create_task(work._until_the_clock_jumps(worker()))
        await asyncio.sleep(0.02)
        assert not working.done()
        off.by = -DAY_S
        await asyncio.wait({working}, timeout=5)
        assert working.done()

    asyncio.run(run())
    assert ended == ["its jobs are done"]


def test_a_worker_that_breaks_off_says_why(off):
    async def worker():
        raise ConnectionError("The database went away.")

    with pytest.raises(ConnectionError, match="went away"):
        asyncio.run(work._until_the_clock_jumps(worker()))
