"""Many rows by a few statements, for benchmarks."""

from collections.abc import Iterator
from contextlib import contextmanager

from django.db import connection, transaction
from django.db.backends.utils import CursorWrapper


@contextmanager
def without_triggers() -> Iterator[CursorWrapper]:
    """What is written here leaves no history, and nobody looks whether its foreign keys hold: that
    takes longer than to write the rows. Counts of all programs are marked as stale."""
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET LOCAL session_replication_role = replica")
        yield cursor
        cursor.execute("SET LOCAL session_replication_role = origin")
        cursor.execute(
            "INSERT INTO surveys_staleyearcount (program_id) SELECT id FROM surveys_program"
        )
