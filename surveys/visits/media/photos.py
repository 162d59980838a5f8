"""Photos of sightings and of the paper sheet. A photo is drawn again before it is stored:
`redrawing.py`."""

from __future__ import annotations

import hashlib
import uuid

from django.core.files.base import ContentFile
from django.core.files.uploadedfile import UploadedFile
from django.db import transaction

from accounts.access import (
    Permission,
    require,
)
from accounts.models import Membership
from surveys import bounded
from surveys.language import gettext, said
from surveys.models import (
    Photo,
    Visit,
)
from surveys.visits.access import (
    EDITABLE,
    check_state,
    find_visit,
    lock_own_visit,
)
from surveys.visits.exceptions import (
    NotYours,
    PhotoRefused,
)
from surveys.visits.media.files import (
    delete_files_on_commit,
    storage_path,
)
from surveys.visits.media.quota import check_room

MAX_BYTES = 20 * 1024 * 1024
MAX_ROW = 9999
# The pages of the paper sheet are kept as rows behind those of sightings.
SHEET_PAGES = {1: MAX_ROW + 1, 2: MAX_ROW + 2}
LIMITS = bounded.Limits(seconds=45, cpu_seconds=10, memory_bytes=768 * 1024**2)


def store_photo(
    member: Membership, visit_id: uuid.UUID | str, *, row: int, upload: UploadedFile
) -> Photo:
    """Store a photo for a sighting row, or a page, of the observer's own sheet, replacing an older
    one.

    It is drawn again before the visit is locked, so that no save waits for it.

    Raises NotYours, WrongState, PhotoRefused, NoRoomLeft.
    """
    with transaction.atomic():
        _lock_to_edit(member, visit_id)
    if not 1 <= row <= MAX_ROW and row not in SHEET_PAGES.values():
        raise PhotoRefused(
            said(
                "There is no sighting row {row}: rows count from 1 to {max_row}.",
                row=row,
                max_row=MAX_ROW,
            )
        )
    jpeg = _redrawn(upload)
    check_room(member, len(jpeg))
    with transaction.atomic():
        visit = _lock_to_edit(member, visit_id)
        _remove(visit, row)
        photo = Photo(
            visit=visit,
            row=row,
            bytes=len(jpeg),
            sha256=hashlib.sha256(jpeg).hexdigest(),
            uploaded_by=member.person,
        )
        photo.image.save(storage_path(f"{photo.pk}.jpg"), ContentFile(jpeg), save=False)
        photo.save()
    return photo


@transaction.atomic
def remove_photo(member: Membership, visit_id: uuid.UUID | str, *, row: int) -> None:
    """Remove a photo from the observer's own sheet. Raises NotYours, WrongState."""
    _remove(_lock_to_edit(member, visit_id), row)


def find_photo(member: Membership, visit_id: uuid.UUID | str, *, row: int) -> Photo:
    """The photo of a row of a visit that the member may read. Raises NotYours."""
    photo = find_visit(member, visit_id).photos.filter(row=row).first()
    if photo is None:
        raise NotYours(gettext("This row has no photo."))
    return photo


def sheet_photos(visit: Visit) -> list[tuple[int, int]]:
    """Page and row of each photo of the paper sheet."""
    kept = set(visit.photos.filter(row__gt=MAX_ROW).values_list("row", flat=True))
    return [(page, row) for page, row in SHEET_PAGES.items() if row in kept]


def count_bytes_of_old_photos() -> None:
    for photo in Photo.objects.filter(bytes=0):
        try:
            size = photo.image.size
        except FileNotFoundError:
            continue
        Photo.objects.filter(pk=photo.pk).update(bytes=size)


def _lock_to_edit(member: Membership, visit_id: uuid.UUID | str) -> Visit:
    visit = lock_own_visit(member, visit_id)
    require(member, Permission.SURVEY)
    check_state(visit, EDITABLE)
    return visit


def _redrawn(upload: UploadedFile) -> bytes:
    """Raises PhotoRefused."""
    if upload.size is not None and upload.size > MAX_BYTES:
        raise PhotoRefused(
            said(
                "The photo has {upload} MB; {max_bytes} MB are allowed. Send a smaller one.",
                upload=f"{upload.size / 1024 / 1024:.0f}",
                max_bytes=MAX_BYTES // 1024 // 1024,
            )
        )
    try:
        return bounded.run("surveys.visits.media.redrawing", "redraw", upload.read(), LIMITS)
    except bounded.RefusedError as refusal:
        raise PhotoRefused(str(refusal)) from None
    except bounded.OverLimitError:
        raise PhotoRefused(
            gettext("Reading the photo takes too much time or memory. Send a smaller one.")
        ) from None
    except bounded.BrokenError:
        raise PhotoRefused from None


def _remove(visit: Visit, row: int) -> None:
    photos = list(visit.photos.filter(row=row))
    delete_files_on_commit([photo.image for photo in photos])
    visit.photos.filter(row=row).delete()
