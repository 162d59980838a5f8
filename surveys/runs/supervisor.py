"""Keeps worker processes going: one that ends, for whatever reason, is started again.

A restart of the database ends a worker, and so does the kernel when memory is short. Nothing waits
for a person then.
"""

from __future__ import annotations

import logging
import subprocess
import threading
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

log = logging.getLogger(__name__)

_LOOK_EVERY_S = 0.2


@dataclass
class _Worker:
    name: str
    command: Sequence[str]
    process: subprocess.Popen[bytes] | None = None
    started_at: float = 0.0
    wait_s: float = 0.0
    start_at: float = field(default_factory=time.monotonic)


class Supervisor:
    """Runs each command until `stop` is called, from a signal or from another thread.

    `first_wait_s` after a worker has ended it is started again; the pause doubles up to
    `longest_wait_s` while it ends at once, and begins anew once it has run for `steady_s`.
    """

    def __init__(
        self,
        commands: Mapping[str, Sequence[str]],
        *,
        first_wait_s: float = 1.0,
        longest_wait_s: float = 30.0,
        steady_s: float = 60.0,
    ) -> None:
        self._workers = [_Worker(name, command) for name, command in commands.items()]
        self._first_wait_s = first_wait_s
        self._longest_wait_s = longest_wait_s
        self._steady_s = steady_s
        self._stopping = threading.Event()

    def stop(self) -> None:
        self._stopping.set()

    def run(self) -> None:
        """Return once every worker has ended after `stop`. A job under way is finished first."""
        while not self._stopping.is_set():
            for worker in self._workers:
                self._look_after(worker)
            self._stopping.wait(_LOOK_EVERY_S)
        running = [worker.process for worker in self._workers if worker.process is not None]
        for process in running:
            process.terminate()
        for process in running:
            process.wait()

    def _look_after(self, worker: _Worker) -> None:
        now = time.monotonic()
        if worker.process is None:
            if now >= worker.start_at:
                worker.process = subprocess.Popen(worker.command)  # noqa: S603 (our own command)
                worker.started_at = now
            return
        status = worker.process.poll()
        if status is None:
            return
        worker.process = None
        steady = now - worker.started_at >= self._steady_s
        worker.wait_s = (
            self._first_wait_s
            if steady or not worker.wait_s
            else min(2 * worker.wait_s, self._longest_wait_s)
        )
        worker.start_at = now + worker.wait_s
        log.warning(
            "The worker %s ended with status %d; it starts again in %g s.",
            worker.name,
            status,
            worker.wait_s,
        )
