"""Two actions at the same moment, in real transactions of their own."""

import contextlib
import threading
from collections.abc import Callable

from django.db import connection

# How long the first waits for the other where a lock holds that one up. What is lost with each
# test that passes; without the lock both go on at once.
LONGEST_WAIT_S = 1.0
# Only a lock that never opens takes so long.
PATIENCE_S = 120


def in_threads(
    *actions: Callable[[], object], together_at: str, errors: type[Exception]
) -> list[object]:
    """Run the actions in threads of their own, and give back their results or `errors`.

    Each waits before its first statement that begins with `together_at`, until all of them are
    there. Where something holds the others back, as a lock should, the first goes on alone.
    """
    results: list[object] = [None] * len(actions)
    barrier = threading.Barrier(len(actions))

    def run(place: int, action: Callable[[], object]) -> None:
        try:
            with connection.execute_wrapper(_Meeting(barrier, together_at)):
                results[place] = action()
        except Exception as error:  # noqa: BLE001 - raised again below, in the test's thread
            results[place] = error
        finally:
            connection.close()

    threads = [
        threading.Thread(target=run, args=(place, action)) for place, action in enumerate(actions)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(PATIENCE_S)
        assert not thread.is_alive()
    for result in results:
        if isinstance(result, Exception) and not isinstance(result, errors):
            raise result
    return results


class _Meeting:
    """Holds up the first matching statement of one connection."""

    def __init__(self, barrier: threading.Barrier, begins: str) -> None:
        self.barrier, self.begins, self.met = barrier, begins, False

    def __call__(self, execute, sql, params, many, context):
        if not self.met and str(sql).startswith(self.begins):
            self.met = True
            with contextlib.suppress(threading.BrokenBarrierError):
                self.barrier.wait(timeout=LONGEST_WAIT_S)
        return execute(sql, params, many, context)
