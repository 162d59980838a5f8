"""What becomes of the jobs that a kill has hit, and of what is left after the last one."""

import threading
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import psycopg

LOOK_EVERY_S = 0.5
_AT_WORK = """
    SELECT j.id, j.task_name, j.attempts, j.status = 'doing', w.last_heartbeat
    FROM procrastinate_jobs j LEFT JOIN procrastinate_workers w ON w.id = j.worker_id
    WHERE j.status IN ('todo', 'doing') AND j.queueing_lock IS NULL
"""
_LEFT = """
    SELECT j.task_name, CASE WHEN j.status = 'doing' THEN 'at work'
            WHEN j.scheduled_at > now() THEN 'to be tried again'
            ELSE 'waiting' END
    FROM procrastinate_jobs j WHERE j.status IN ('todo', 'doing') AND j.queueing_lock IS NULL
"""


@dataclass
class _Hold:
    """An attempt at a job, and when its worker was last seen to say that it is alive."""

    task: str
    attempt: int
    beat: object
    alive_at: float


@dataclass
class Backlog:
    """Looks at the jobs all the time. `again` has, for each job whose attempt broke off, the task
    and the seconds from the last sign of life of the worker that had it (which came before the
    kill, by up to ten seconds) until another attempt was at work."""

    connect: Callable[[], psycopg.Connection]
    again: list[tuple[float, str]] = field(default_factory=list)
    told: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._over = threading.Event()
        self._held: dict[int, _Hold] = {}
        self._thread = threading.Thread(target=self._look_on, daemon=True)
        self._thread.start()

    def end(self) -> list[str]:
        """Tasks of which an attempt broke off and that nobody has taken up."""
        self._over.set()
        self._thread.join()
        return [f"{hold.task}, attempt {hold.attempt}" for hold in self._held.values()]

    def tell(self, since: float) -> None:
        """Note what is left, where it is not the same as before."""
        left = ", ".join(
            f"{count} {task} {how}"
            for (task, how), count in sorted(Counter(self._ask(_LEFT) or ()).items())
        )
        if not self.told or not self.told[-1].endswith(f" s: {left}"):
            self.told.append(f"{time.monotonic() - since:.0f} s: {left}")

    def _look_on(self) -> None:
        while not self._over.wait(LOOK_EVERY_S):
            rows = self._ask(_AT_WORK)
            if rows is not None:
                self._look(rows, time.monotonic())

    def _ask(self, query: str) -> list[tuple[Any, ...]] | None:
        """None while the database is away."""
        try:
            with self.connect() as there:
                return there.execute(query).fetchall()
        except psycopg.Error:
            return None

    def _look(self, rows: list[tuple[Any, ...]], now: float) -> None:
        here = set()
        for job, task, attempt, at_work, beat in rows:
            here.add(job)
            hold = self._held.get(job)
            if hold is not None and attempt > hold.attempt and at_work:
                self.again.append((now - hold.alive_at, task))
                hold = None
            if not at_work:
                continue
            if hold is None:
                self._held[job] = _Hold(task, attempt, beat, now)
            elif beat != hold.beat:
                hold.beat, hold.alive_at = beat, now
        self._held = {job: hold for job, hold in self._held.items() if job in here}
