"""Analyses of many species, side by side where that pays."""

import logging
import multiprocessing
import os
import threading
import time
from collections import deque
from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass

from surveys.trends.analysis import Parts, analyze
from surveys.trends.histories import Site
from surveys.trends.periods import ProgramPeriods, SpeciesPeriods, species_periods
from surveys.trends.species_result import SpeciesResult

log = logging.getLogger(__name__)

# Listening periods of all analyses together from which processes are worth their start.
FEWEST_PERIODS = 100_000


@dataclass(frozen=True, kw_only=True)
class Task:
    species_id: int
    code: str
    site: Site
    region: str
    parts: Parts


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """`error` instead of a result where there is none."""

    seconds: float
    result: SpeciesResult | None = None
    error: Exception | None = None


def outcomes(periods: ProgramPeriods, tasks: Sequence[Task]) -> Iterator[Outcome]:
    """Of every task, in their order. Nothing is worked out before it is asked for, but for a few
    that run ahead in other processes."""
    processes = min(len(os.sched_getaffinity(0)), len(tasks))
    if processes < 2 or len(tasks) * len(periods.day) < FEWEST_PERIODS:
        return (_here(periods, task) for task in tasks)
    return _side_by_side(periods, tasks, processes)


def _side_by_side(
    periods: ProgramPeriods, tasks: Sequence[Task], processes: int
) -> Iterator[Outcome]:
    # As many threads as processes already use all cores.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(processes, mp_context=context, initializer=_end_with_parent) as pool:
        ahead: deque[tuple[Task, Future[Outcome] | None]] = deque()
        try:
            for task in tasks:
                ahead.append((task, _submitted(pool, periods, task)))
                if len(ahead) > processes:
                    yield _awaited(periods, *ahead.popleft())
            while ahead:
                yield _awaited(periods, *ahead.popleft())
        finally:
            _stop_feeding(pool)
            pool.shutdown(cancel_futures=True)


def _stop_feeding(pool: ProcessPoolExecutor) -> None:
    """Older Pythons, 3.11.2 among them, wait for ever to hand large data to processes that were
    killed: https://github.com/python/cpython/issues/94777"""
    if pool._broken:
        pool._call_queue._reader.close()


def _submitted(
    pool: ProcessPoolExecutor, periods: ProgramPeriods, task: Task
) -> Future[Outcome] | None:
    try:
        return pool.submit(_analyzed, task, _periods_of(periods, task))
    except BrokenProcessPool:
        return None


def _awaited(periods: ProgramPeriods, task: Task, future: Future[Outcome] | None) -> Outcome:
    """A process that was killed, for want of memory say, leaves its task to this one."""
    try:
        if future is not None:
            return future.result()
    except BrokenProcessPool:
        log.warning("A process ended while it analyzed %s.", task.code)
    return _here(periods, task)


def _here(periods: ProgramPeriods, task: Task) -> Outcome:
    return _analyzed(task, _periods_of(periods, task))


def _periods_of(periods: ProgramPeriods, task: Task) -> SpeciesPeriods:
    return species_periods(periods, task.species_id, region=task.region)


def _analyzed(task: Task, own: SpeciesPeriods) -> Outcome:
    begun = time.monotonic()
    try:
        result = analyze(task.code, own, site=task.site, parts=task.parts)
    except Exception as error:  # noqa: BLE001 (whoever asked says which analysis failed)
        return Outcome(seconds=time.monotonic() - begun, error=error)
    return Outcome(seconds=time.monotonic() - begun, result=result)


def _end_with_parent() -> None:
    """A worker that is killed must not leave processes behind."""
    parent = multiprocessing.parent_process()

    def wait() -> None:
        if parent is not None:
            parent.join()
        os._exit(1)

    threading.Thread(target=wait, daemon=True).start()
