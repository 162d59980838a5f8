"""What a clock that was wrong for a while has left in the queue."""

import pytest
from django.db import connection

from surveys.runs.clock import forget_wrong_moments

pytestmark = pytest.mark.django_db


def test_what_a_wrong_clock_has_put_off_is_due():
    """As left behind by a clock that was a day ahead; a letter for the morning stays one."""
    waits = {
        ("a retry", 1, "1 day 5 seconds"): "0",
        ("a retry of now", 1, "4 minutes"): "4 minutes",
        ("a letter by day", 0, "13 hours"): "13 hours",
        ("a letter by day, tomorrow", 0, "1 day 13 hours"): "13 hours",
        ("a fit of two years ahead", 0, "730 days 10 minutes"): "10 minutes",
        ("one that is due", 0, "-1 hour"): "-1 hour",
    }
    with connection.cursor() as cursor:
        for name, attempts, wait in waits:
            cursor.execute(
                "INSERT INTO procrastinate_jobs (queue_name, task_name, status, attempts, "
                "scheduled_at) VALUES ('mail', %s, 'todo', %s, now() + %s::interval)",
                [name, attempts, wait],
            )
        forget_wrong_moments()
        cursor.execute(
            "SELECT job.task_name, job.scheduled_at = now() + wanted.wait::interval "
            "FROM procrastinate_jobs job "
            "JOIN unnest(%s::text[], %s::text[]) AS wanted (name, wait) "
            "ON wanted.name = job.task_name",
            [[name for name, _, _ in waits], list(waits.values())],
        )
        assert dict(cursor.fetchall()) == {name: True for name, _, _ in waits}


def test_tasks_of_minutes_to_come_can_be_queued_again():
    """The queue makes a task once for each of its moments."""
    with connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO procrastinate_periodic_defers (task_name, periodic_id, defer_timestamp) "
            "SELECT 'runs.take_up_stalled', '', extract(epoch FROM now()) + ahead "
            "FROM unnest(ARRAY[-60, 0, 120, 86400]) AS ahead"
        )
        forget_wrong_moments()
        cursor.execute("SELECT count(*) FROM procrastinate_periodic_defers")
        assert cursor.fetchone() == (2,)
