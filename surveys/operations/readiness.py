"""Whether this installation can do its work: database, migrations, workers, queues, files."""

import functools
import tempfile
from collections.abc import Callable
from pathlib import Path

from django.conf import settings
from django.core.files.storage import default_storage
from django.db import DatabaseError, connection
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder

from surveys.operations.heartbeats import silent_workers
from surveys.operations.queue_state import queue_states


def database_answers() -> bool:
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1")
    return True


def missing_migrations() -> list[str]:
    """Migrations of this release that the database has not seen."""
    applied = MigrationRecorder(connection).applied_migrations()
    return [f"{app}.{name}" for app, name in _migrations() if (app, name) not in applied]


@functools.cache
def _migrations() -> list[tuple[str, str]]:
    return sorted(MigrationLoader(None).disk_migrations)


def media_is_writable() -> bool:
    """On a disk a file without a name, so that nothing is left behind."""
    if hasattr(default_storage, "is_writable"):
        return default_storage.is_writable()
    try:
        with tempfile.TemporaryFile(dir=Path(settings.MEDIA_ROOT)) as file:
            file.write(b"x")
    except OSError:
        return False
    return True


CHECKS: dict[str, Callable[[], bool]] = {
    "database": database_answers,
    "migrations": lambda: not missing_migrations(),
    "workers": lambda: not silent_workers(),
    "queues": lambda: not any(queue.is_stuck for queue in queue_states()),
    "media": media_is_writable,
}


def readiness() -> dict[str, bool]:
    """Each check, and whether it is fine. One that cannot be made for want of a database is not."""
    return {name: _is_fine(check) for name, check in CHECKS.items()}


def _is_fine(check: Callable[[], bool]) -> bool:
    try:
        return check()
    except DatabaseError:
        return False
