"""Many rows by a few statements, for benchmarks."""

from collections.abc import Iterator
from contextlib import contextmanager

from django.db import connection, transaction
from django.db.backends.utils import CursorWrapper


@contextmanager
def without_triggers() -> Iterator[CursorWrapper]:
    """What is written here leaves no history, and nobody looks whether its foreign keys hold: that
    takes longer than to write the rows."""
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET LOCAL session_replication_role = replica")
        yield cursor
        cursor.execute("SET LOCAL session_replication_role = origin")
