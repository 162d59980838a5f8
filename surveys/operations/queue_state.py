"""What waits in the queues, what is at work, and for how long."""

import datetime as dt
from dataclasses import dataclass

from django.db import connection

from surveys.operations.failures import SHOWN_FOR
from surveys.runs.queues import PATIENCE


@dataclass(frozen=True, kw_only=True)
class QueueState:
    """`waiting` are jobs that are due; `oldest` how long the first of them has been, `longest` how
    long a job has been at work. `failed` for good, for as long as failures are shown."""

    name: str
    waiting: int = 0
    oldest: dt.timedelta = dt.timedelta()
    at_work: int = 0
    longest: dt.timedelta = dt.timedelta()
    failed: int = 0

    @property
    def is_stuck(self) -> bool:
        return max(self.oldest, self.longest) > PATIENCE[self.name]


# A job is due from when it was asked for, or from the time that it is to be tried again.
_STATE = """
SELECT
    job.queue_name,
    count(*) FILTER (WHERE job.status = 'todo' AND happened.due <= now()),
    coalesce(max(now() - happened.due)
        FILTER (WHERE job.status = 'todo' AND happened.due <= now()), interval '0'),
    count(*) FILTER (WHERE job.status = 'doing'),
    coalesce(max(now() - happened.begun) FILTER (WHERE job.status = 'doing'), interval '0'),
    count(*) FILTER (WHERE job.status = 'failed' AND happened.failed > now() - %(shown_for)s)
FROM procrastinate_jobs AS job
CROSS JOIN LATERAL (
    SELECT
        coalesce(job.scheduled_at, max(event.at) FILTER (WHERE event.type = 'deferred')) AS due,
        max(event.at) FILTER (WHERE event.type = 'started') AS begun,
        max(event.at) FILTER (WHERE event.type = 'failed') AS failed
    FROM procrastinate_events AS event WHERE event.job_id = job.id
) AS happened
WHERE job.status IN ('todo', 'doing', 'failed')
GROUP BY job.queue_name
"""


def queue_states() -> list[QueueState]:
    with connection.cursor() as cursor:
        cursor.execute(_STATE, {"shown_for": SHOWN_FOR})
        rows = {row[0]: row[1:] for row in cursor.fetchall()}
    fields = ("waiting", "oldest", "at_work", "longest", "failed")
    return [
        QueueState(name=name, **dict(zip(fields, rows.get(name, ()), strict=False)))
        for name in PATIENCE
    ]
