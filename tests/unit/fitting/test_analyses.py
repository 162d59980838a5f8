"""Analyses side by side: the same results in the same order, whatever becomes of a process."""

import multiprocessing
import os
import signal
import subprocess
import sys
import time
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path

import numpy as np
import pytest

from surveys.fitting import analyses
from surveys.fitting.analyses import Task, outcomes
from surveys.trends.analysis import Parts
from surveys.trends.histories import PeriodColumns
from surveys.trends.periods import Heard, Listed, ProgramPeriods

ROOT = Path(__file__).resolve().parents[3]
ONLY_TREND = Parts(fit_check=False, turnover=False, index=False, phenology=False, sensitivity=False)


@pytest.fixture(scope="module")
def periods():
    """Two species at 20 stops."""
    stop, year, visit = (axis.ravel() for axis in np.indices((20, 6, 2)))
    night = 365 * (2015 + year) + 30 * visit
    columns = PeriodColumns(
        route=stop // 4, stop=stop, season_year=2015 + year, night=night, visit_number=visit + 1,
        call_index=np.zeros(len(stop)), heard=np.zeros(len(stop)),
    )  # fmt: skip
    at = {species: np.flatnonzero((stop + year * species) % 3 == 0) for species in (1, 2)}
    return ProgramPeriods(
        columns=columns,
        day=30 * visit,
        region=np.full(len(stop), "North"),
        heard={species: Heard(at=rows, index=np.ones(len(rows))) for species, rows in at.items()},
        listed={species: Listed(since=None, until=None, season=None) for species in (1, 2)},
        stops={},
    )


def tasks(*species):
    return [
        Task(species_id=number, code=str(number), site=site, region="", parts=ONLY_TREND)
        for site in ("stop", "route")
        for number in species
    ]


def results(made):
    return [outcome.result for outcome in made]


@pytest.fixture
def two_processes(monkeypatch):
    monkeypatch.setattr(analyses, "FEWEST_PERIODS", 0)
    monkeypatch.setattr(os, "sched_getaffinity", lambda _: {0, 1})


def test_small_programs_start_no_process(periods):
    assert all(results(outcomes(periods, tasks(1, 2))))
    assert not multiprocessing.active_children()


def test_side_by_side_gives_the_same_even_after_a_process_was_killed(periods, two_processes):
    asked = tasks(1, 2)
    made = outcomes(periods, asked)
    first = next(made)
    children = multiprocessing.active_children()
    assert len(children) == 2
    for child in children:
        child.kill()
    found = [first.result, *results(made)]
    assert found == [analyses._here(periods, task).result for task in asked]
    assert None not in found
    assert not multiprocessing.active_children()


def test_data_on_the_way_to_killed_processes_hold_nothing_up():
    """More than a pipe holds: the test hangs where nobody reads on and nobody closes the pipe."""
    pool = ProcessPoolExecutor(2, mp_context=multiprocessing.get_context("spawn"))
    waiting = [pool.submit(sum, bytes(5_000_000)) for _ in range(12)]
    waiting[0].result()
    for child in multiprocessing.active_children():
        child.kill()
    with pytest.raises(BrokenProcessPool):
        [future.result() for future in waiting]
    analyses._stop_feeding(pool)
    pool.shutdown(cancel_futures=True)
    assert not multiprocessing.active_children()


def test_what_a_killed_process_had_begun_is_worked_out_here(periods):
    (task,) = tasks(1)[:1]
    begun = Future()
    begun.set_exception(BrokenProcessPool())
    result = analyses._awaited(periods, task, begun).result
    assert result == analyses._here(periods, task).result


def test_an_analysis_that_fails_says_why_and_leaves_the_others(periods, monkeypatch):
    def refuse(code, *args, **options):
        if code == "1":
            raise ArithmeticError("no answer")
        return real(code, *args, **options)

    real = analyses.analyze
    monkeypatch.setattr(analyses, "analyze", refuse)
    failed, made = list(outcomes(periods, tasks(1, 2)))[:2]
    assert (failed.result, str(failed.error)) == (None, "no answer")
    assert (made.result is not None, made.error) == (True, None)


PARENT = """
import multiprocessing, os, time
from concurrent.futures import ProcessPoolExecutor
from surveys.fitting.analyses import _end_with_parent

if __name__ == "__main__":
    context = multiprocessing.get_context("spawn")
    pool = ProcessPoolExecutor(1, mp_context=context, initializer=_end_with_parent)
    print(pool.submit(os.getpid).result(), flush=True)
    time.sleep(60)
"""


def test_a_killed_worker_leaves_no_process_behind(tmp_path):
    script = tmp_path / "parent.py"
    script.write_text(PARENT, "utf-8")
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    with subprocess.Popen(
        [sys.executable, script], env=environment, stdout=subprocess.PIPE, text=True
    ) as parent:
        child = int(parent.stdout.readline())
        parent.send_signal(signal.SIGKILL)
    until = time.monotonic() + 20
    while Path(f"/proc/{child}").exists() and time.monotonic() < until:
        time.sleep(0.05)
    assert not Path(f"/proc/{child}").exists()
