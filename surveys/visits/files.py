"""Stored files go when nothing names them any more, and never sooner.

A file cannot be rolled back with its row. So a file is deleted only after the transaction
that lets go of it is kept, and what a failed transaction left behind is swept up later.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator

from django.core.files.storage import Storage, default_storage
from django.db import transaction
from django.db.models.fields.files import FieldFile
from django.utils import timezone

from surveys.models import Photo, Recording, RecordingPiece

# Longer than any request or task: a younger file may belong to a transaction under way.
YOUNG = dt.timedelta(days=1)
FOLDERS = ("photos", "recordings")
_NAMED_IN = ((Photo, "image"), (Recording, "audio"), (RecordingPiece, "content"))


def forget_files(files: Iterable[FieldFile]) -> None:
    """Delete stored files once the transaction that lets go of them is kept."""
    for file in files:
        transaction.on_commit(lambda file=file: file.storage.delete(file.name))


def sweep_files(now: dt.datetime | None = None) -> int:
    """Delete photos and sounds that no row names; how many there were."""
    before = (now or timezone.now()) - YOUNG
    swept = 0
    for folder in FOLDERS:
        stored = set(_old_files(default_storage, folder, before))
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
