"""Stored files go when nothing names them any more, and never sooner.

A file cannot be rolled back with its row. So a file is deleted only after the transaction
that lets go of it is kept, and what a failed transaction left behind is swept up later.

Several databases may keep their files in one place: a copy made for a test, a second
installation, the one a backup was taken from. So a file is kept in a folder named for its
database, and the sweep looks in that folder alone. What older versions stored outside it,
or a database of before a restore, is never swept.
"""

from __future__ import annotations

import datetime as dt
import functools
import hashlib
from collections.abc import Iterable, Iterator

from django.core.files.storage import Storage, default_storage
from django.db import connection, transaction
from django.db.backends.utils import CursorWrapper
from django.db.models.fields.files import FieldFile
from django.utils import timezone

from surveys.models import (
    Photo,
    Recording,
    RecordingPiece,
)

# Longer than any request or task: a younger file may belong to a transaction under way.
YOUNG = dt.timedelta(days=1)
FOLDERS = ("photos", "recordings")
_NAMED_IN = ((Photo, "image"), (Recording, "audio"), (RecordingPiece, "content"))


def own_name(name: str) -> str:
    """The name under which this database keeps a file: in a folder of its own."""
    return f"{_folder_of(connection.settings_dict['NAME'])}/{name}"


@functools.cache
def _folder_of(database: str) -> str:
    with connection.cursor() as cursor:
        return folder_of(cursor)


def folder_of(cursor: CursorWrapper) -> str:
    """A name for the database behind the cursor, of 16 hex digits. Renaming keeps it, and
    neither a copy beside it nor one restored elsewhere has it."""
    cursor.execute("SELECT oid FROM pg_database WHERE datname = current_database()")
    (told,) = cursor.fetchone()
    cursor.execute("SELECT has_function_privilege('pg_control_system()', 'execute')")
    if cursor.fetchone()[0]:
        cursor.execute("SELECT system_identifier FROM pg_control_system()")
        told = f"{cursor.fetchone()[0]}/{told}"
    return hashlib.sha256(str(told).encode()).hexdigest()[:16]


def forget_files(files: Iterable[FieldFile]) -> None:
    """Delete stored files once the transaction that lets go of them is kept."""
    for file in files:
        transaction.on_commit(lambda file=file: file.storage.delete(file.name))


def sweep_files(now: dt.datetime | None = None) -> int:
    """Delete this database's photos and sounds that no row names; how many there were."""
    before = (now or timezone.now()) - YOUNG
    own = own_name("").strip("/")
    swept = 0
    for folder in FOLDERS:
        stored = {
            name
            for name in _old_files(default_storage, folder, before)
            if name.split("/")[-2] == own
        }
        for model, field in _NAMED_IN:
            named = model.objects.filter(**{f"{field}__startswith": f"{folder}/"})
            stored.difference_update(named.values_list(field, flat=True).iterator())
        for name in stored:
            default_storage.delete(name)
        swept += len(stored)
    return swept


def _old_files(storage: Storage, folder: str, before: dt.datetime) -> Iterator[str]:
    try:
        folders, files = storage.listdir(folder)
    except FileNotFoundError:
        return
    for name in files:
        path = f"{folder}/{name}"
        if storage.get_modified_time(path) < before:
            yield path
    for name in folders:
        yield from _old_files(storage, f"{folder}/{name}", before)
