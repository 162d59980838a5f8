"""Empty the test database after a test that committed, quickly.

Django truncates every table: half a second for some seventy, nearly all of them empty, and an
exclusive lock on each. Rows of the few that were filled are deleted instead; keys and triggers
that would forbid it are off for that one transaction.

Content types and permissions stay: they are made by migrating and changed by no test, and to make
them again, with all else that follows a migration, took five times as long as the emptying.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from django.core.management.commands import flush
from django.db.backends.postgresql.operations import DatabaseOperations

MADE_BY_MIGRATING = ("auth_permission", "django_content_type")
# Made by migrations, too, but not Django's to empty: a job that a test leaves is found by the next.
NOT_OF_DJANGO = (
    "accounts_cache",
    "procrastinate_events",
    "procrastinate_jobs",
    "procrastinate_periodic_defers",
)


@contextmanager
def quick_emptying() -> Iterator[None]:
    """`flush`, which Django calls after a test that committed, leaves the tables as they were."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(DatabaseOperations, "sql_flush", delete_from_filled)
        patch.setattr(flush, "emit_post_migrate_signal", lambda *args, **options: None)
        yield


def delete_from_filled(
    operations: DatabaseOperations, style: Any, tables: list[str], **_: bool
) -> list[str]:
    """The statements that `flush` executes in one transaction, for `sql_flush`."""
    emptied = [table for table in tables if table not in MADE_BY_MIGRATING]
    emptied += NOT_OF_DJANGO
    quoted = [operations.quote_name(table) for table in emptied]
    asked = " UNION ALL ".join(
        f"SELECT {place} WHERE EXISTS (SELECT FROM {table})" for place, table in enumerate(quoted)
    )
    with operations.connection.cursor() as cursor:
        cursor.execute(asked)
        filled = [quoted[place] for (place,) in cursor]
    return [
        "SET LOCAL session_replication_role = replica",
        *(f"DELETE FROM {table}" for table in filled),
    ]
