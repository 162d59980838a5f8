"""A clock that was set wrong for a while, and what it leaves behind.

A machine that is a day ahead for a minute, until its time service notices, writes moments that only
come tomorrow: when a job is tried again, when a worker was last alive, up to when tasks of every
minute were queued. Nothing of that may keep work waiting for a day.
"""

import asyncio
import time

from django.db import connection, transaction

from surveys.runs.queues import LONGEST_WAIT, LONGEST_WAIT_AGAIN

LOOK_EVERY_S = 5.0
# Time services move a clock by less than this without a jump.
JUMP_S = 60.0

_AGAIN = """
UPDATE procrastinate_jobs SET scheduled_at = now()
WHERE status = 'todo' AND attempts > 0 AND scheduled_at > now() + %(longest)s
"""
# The time of day stays: a letter may be waiting for the morning.
_BY_DAYS = """
UPDATE procrastinate_jobs
SET scheduled_at = scheduled_at - interval '1 day' * ceil(
    extract(epoch FROM scheduled_at - now() - %(longest)s) / extract(epoch FROM interval '1 day'))
WHERE status = 'todo' AND scheduled_at > now() + %(longest)s
"""
# The queue library makes a task once for each of its moments, whoever asks.
_PERIODS = """
DELETE FROM procrastinate_periodic_defers
WHERE defer_timestamp > extract(epoch FROM now()) + %(jump)s
"""


async def jump(every_s: float = LOOK_EVERY_S) -> float:
    """Return when the clock has jumped: by how many seconds, ahead (more than 0) or back."""
    before = time.time() - time.monotonic()
    while True:
        await asyncio.sleep(every_s)
        moved = time.time() - time.monotonic() - before
        if abs(moved) > JUMP_S:
            return moved


@transaction.atomic
def forget_wrong_moments() -> None:
    """Jobs that wait longer than any job does become due, and tasks of every minute can be queued
    again."""
    with connection.cursor() as cursor:
        cursor.execute(_AGAIN, {"longest": LONGEST_WAIT_AGAIN})
        cursor.execute(_BY_DAYS, {"longest": LONGEST_WAIT})
        cursor.execute(_PERIODS, {"jump": JUMP_S})
