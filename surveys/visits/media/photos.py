"""Photos of sightings. A photo is encoded again before it is stored, so that no location,
camera or owner tag of the original remains."""

from __future__ import annotations

import hashlib
import io
import uuid

from django.core.files.base import ContentFile
from django.core.files.uploadedfile import UploadedFile
from django.db import transaction
from PIL import Image, ImageOps, UnidentifiedImageError

from accounts.access import (
    Permission,
    require,
)
from accounts.models import Membership
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

FORMATS = ("JPEG", "PNG", "WEBP")
MAX_BYTES = 20 * 1024 * 1024
MAX_PIXELS = 80_000_000
MAX_SIDE = 2400
MAX_ROW = 9999
_QUALITY = 85
# SyntaxError is what Pillow raises for some broken files.
_UNREADABLE = (
    UnidentifiedImageError,
    Image.DecompressionBombError,
    Image.DecompressionBombWarning,
    OSError,
    ValueError,
    SyntaxError,
)


@transaction.atomic
def store_photo(
    member: Membership, visit_id: uuid.UUID | str, *, row: int, upload: UploadedFile
) -> Photo:
    """Store a photo for a sighting row of the observer's own sheet, replacing an older one.

    Raises NotYours, WrongState, PhotoRefused.
    """
    visit = lock_own_visit(member, visit_id)
    require(member, Permission.SURVEY)
    check_state(visit, EDITABLE)
    if not 1 <= row <= MAX_ROW:
        raise PhotoRefused(
            said(
                "There is no sighting row {row}: rows count from 1 to {max_row}.",
                row=row,
                max_row=MAX_ROW,
            )
        )
    jpeg = reencode(upload)
    _remove(visit, row)
    photo = Photo(
        visit=visit,
        row=row,
        sha256=hashlib.sha256(jpeg).hexdigest(),
        uploaded_by=member.person,
    )
    photo.image.save(storage_path(f"{photo.pk}.jpg"), ContentFile(jpeg), save=False)
    photo.save()
    return photo


@transaction.atomic
def remove_photo(member: Membership, visit_id: uuid.UUID | str, *, row: int) -> None:
    """Remove a photo from the observer's own sheet. Raises NotYours, WrongState."""
    visit = lock_own_visit(member, visit_id)
    require(member, Permission.SURVEY)
    check_state(visit, EDITABLE)
    _remove(visit, row)


def find_photo(member: Membership, visit_id: uuid.UUID | str, *, row: int) -> Photo:
    """The photo of a row of a visit that the member may read. Raises NotYours."""
    photo = find_visit(member, visit_id).photos.filter(row=row).first()
    if photo is None:
        raise NotYours(gettext("This row has no photo."))
    return photo


def reencode(upload: UploadedFile) -> bytes:
    """The image as a new JPEG: upright, at most LONGEST_SIDE pixels a side, without tags.

    Raises PhotoRefused.
    """
    if upload.size is not None and upload.size > MAX_BYTES:
        raise PhotoRefused(
            said(
                "The photo has {upload} MB; {max_bytes} MB are allowed. Send a smaller one.",
                upload=f"{upload.size / 1024 / 1024:.0f}",
                max_bytes=MAX_BYTES // 1024 // 1024,
            )
        )
    try:
        image = Image.open(upload, formats=FORMATS)
        _check_pixels(image)
        # A JPEG can be decoded at a fraction of its size, which saves memory.
        image.draft("RGB", (2 * MAX_SIDE, 2 * MAX_SIDE))
        flat = _flatten_on_white(ImageOps.exif_transpose(image))
    except _UNREADABLE as error:
        raise PhotoRefused from error
    flat.thumbnail((MAX_SIDE, MAX_SIDE))
    buffer = io.BytesIO()
    flat.save(buffer, "JPEG", quality=_QUALITY)
    return buffer.getvalue()


def _check_pixels(image: Image.Image) -> None:
    if image.width * image.height > MAX_PIXELS:
        raise PhotoRefused(
            said(
                "The photo has {width} × {height} pixels, which is too many. Send a smaller one.",
                width=image.width,
                height=image.height,
            )
        )


def _flatten_on_white(image: Image.Image) -> Image.Image:
    """A new image with only the pixels; transparent parts become white."""
    layer = image.convert("RGBA")
    flat = Image.new("RGB", layer.size, "white")
    flat.paste(layer, mask=layer.getchannel("A"))
    return flat


def _remove(visit: Visit, row: int) -> None:
    photos = list(visit.photos.filter(row=row))
    delete_files_on_commit([photo.image for photo in photos])
    visit.photos.filter(row=row).delete()
