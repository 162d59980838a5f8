"""Deletes stored files when no row refers to them any more, and never sooner.

A file cannot be rolled back with its row. So a file is deleted only after the transaction that
deletes its row has been committed, and files left by a failed transaction are deleted by a
nightly sweep.

Several databases may share one storage: a copy made for a test, a second installation, the
database a backup was taken from. So each database keeps its files in a folder of its own, and
the sweep looks only there. Files that older versions stored elsewhere, or that belong to the
database from before a restore, are never swept.
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
    RecordingPicture,
    RecordingPiece,
    ReferenceCall,
)

# Longer than any request or task: a younger file may belong to a transaction in progress.
YOUNG = dt.timedelta(days=1)
FOLDERS = ("photos", "recordings")
_FILE_FIELDS = (
    (Photo, "image"),
    (Recording, "audio"),
    (RecordingPiece, "content"),
    (RecordingPicture, "image"),
    (RecordingPicture, "waveform"),
    (RecordingPicture, "seekable"),
    (ReferenceCall, "audio"),
    (ReferenceCall, "image"),
)


def storage_path(name: str) -> str:
    """The name under which to store a file: in the folder of this database."""
    return f"{_folder_of(connection.settings_dict['NAME'])}/{name}"


@functools.cache
def _folder_of(database: str) -> str:
    with connection.cursor() as cursor:
        return database_folder(cursor)


def database_folder(cursor: CursorWrapper) -> str:
    """16 hex digits that identify the database of the cursor.

    Renaming the database does not change them; a copy in the same cluster and a copy restored
    elsewhere have others.
    """
    cursor.execute("SELECT oid FROM pg_database WHERE datname = current_database()")
    (identity,) = cursor.fetchone()
    cursor.execute("SELECT has_function_privilege('pg_control_system()', 'execute')")
    if cursor.fetchone()[0]:
        cursor.execute("SELECT system_identifier FROM pg_control_system()")
        identity = f"{cursor.fetchone()[0]}/{identity}"
    return hashlib.sha256(str(identity).encode()).hexdigest()[:16]


def delete_files_on_commit(files: Iterable[FieldFile]) -> None:
    """Delete stored files once the current transaction is committed."""
    for file in files:
        transaction.on_commit(lambda file=file: file.storage.delete(file.name))


def sweep_files(now: dt.datetime | None = None) -> int:
    """Delete this database's photos and recordings that no row refers to. Returns how many."""
    cutoff = (now or timezone.now()) - YOUNG
    own_folder = storage_path("").strip("/")
    swept = 0
    for folder in FOLDERS:
        stored = {
            name
            for name in _old_files(default_storage, folder, cutoff)
            if name.split("/")[-2] == own_folder
        }
        for model, field in _FILE_FIELDS:
            references = model.objects.filter(**{f"{field}__startswith": f"{folder}/"})
            stored.difference_update(references.values_list(field, flat=True).iterator())
        for name in stored:
            default_storage.delete(name)
        swept += len(stored)
    return swept


def _old_files(storage: Storage, folder: str, cutoff: dt.datetime) -> Iterator[str]:
    if hasattr(storage, "names_before"):
        yield from storage.names_before(folder, cutoff)
        return
    try:
        folders, files = storage.listdir(folder)
    except FileNotFoundError:
        return
    for name in files:
        path = f"{folder}/{name}"
        if storage.get_modified_time(path) < cutoff:
            yield path
    for name in folders:
        yield from _old_files(storage, f"{folder}/{name}", cutoff)
