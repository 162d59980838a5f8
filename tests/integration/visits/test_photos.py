"""Photos of sightings: drawn anew, without tags, within limits."""

import io
import re

import pytest
from django.core.exceptions import PermissionDenied
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.urls import reverse
from django.utils import timezone
from PIL import ExifTags, Image

from surveys import bounded
from surveys.models import Photo, Visit, VisitState
from surveys.visits.drafts import discard_draft
from surveys.visits.exceptions import (
    NotYours,
    PhotoRefused,
    WrongState,
)
from surveys.visits.finding import findings_by_cell
from surveys.visits.judging import judge_sheet
from surveys.visits.media import photos
from surveys.visits.verbs import submit_visit
from tests.support.builders import (
    make_member,
    make_route,
    make_species,
)
from tests.support.sheets import (
    make_draft,
    make_submitted,
    type_cells,
)


@pytest.fixture
def visit(program, observer):
    return make_draft(observer, make_route(program))


def picture(kind="JPEG", size=(400, 300), mode="RGB", **options):
    out = io.BytesIO()
    Image.new(mode, size, "green").save(out, kind, **options)
    return SimpleUploadedFile(f"photo.{kind.lower()}", out.getvalue())


def with_position(orientation=1):
    """A photo as a phone makes it: EXIF with a place, the phone's maker and a turn."""
    exif = Image.Exif()
    exif[ExifTags.Base.Make] = "Some maker"
    exif[ExifTags.Base.Orientation] = orientation
    place = exif.get_ifd(ExifTags.IFD.GPSInfo)
    place[ExifTags.GPS.GPSLatitudeRef] = "N"
    place[ExifTags.GPS.GPSLatitude] = (43.0, 4.0, 23.0)
    place[ExifTags.GPS.GPSLongitudeRef] = "W"
    place[ExifTags.GPS.GPSLongitude] = (89.0, 24.0, 4.0)
    return picture(exif=exif, comment=b"near the old mill")


def kept(photo):
    with photo.image.open() as file:
        data = file.read()
    return Image.open(io.BytesIO(data)), data


def test_tags_are_removed(observer, visit):
    upload = with_position()
    tags = Image.open(upload).getexif()
    assert tags.get_ifd(ExifTags.IFD.GPSInfo), "the test photo must have a position to lose"
    upload.seek(0)
    image, data = kept(photos.store_photo(observer, visit.pk, row=1, upload=upload))
    assert not image.getexif()
    assert not {"exif", "comment", "icc_profile", "xmp"} & image.info.keys()
    assert b"Some maker" not in data
    assert b"old mill" not in data


def test_orientation_is_applied(observer, visit):
    photo = photos.store_photo(observer, visit.pk, row=1, upload=with_position(orientation=6))
    assert kept(photo)[0].size == (300, 400)


@pytest.mark.parametrize(
    ("kind", "mode"),
    [("PNG", "RGBA"), ("PNG", "P"), ("PNG", "L"), ("WEBP", "RGB"), ("JPEG", "CMYK")],
)
def test_formats(observer, visit, kind, mode):
    photo = photos.store_photo(observer, visit.pk, row=1, upload=picture(kind, mode=mode))
    image, _ = kept(photo)
    assert (image.format, image.mode, image.size) == ("JPEG", "RGB", (400, 300))


def test_a_large_photo_is_made_smaller(observer, visit):
    upload = picture(size=(4800, 2400))
    photo = photos.store_photo(observer, visit.pk, row=1, upload=upload)
    assert kept(photo)[0].size == (2400, 1200)


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"no picture",
        b"<svg xmlns='http://www.w3.org/2000/svg'/>",
        picture().read()[:900],
        picture("PNG").read()[:200],
    ],
)
def test_files_that_are_not_images_are_refused(observer, visit, data):
    with pytest.raises(PhotoRefused, match="JPEG, PNG or WebP"):
        photos.store_photo(observer, visit.pk, row=1, upload=SimpleUploadedFile("photo.jpg", data))
    assert not Photo.objects.exists()


def test_formats_that_are_not_photos_are_refused(observer, visit):
    with pytest.raises(PhotoRefused):
        photos.store_photo(observer, visit.pk, row=1, upload=picture("GIF"))


def test_limits_are_explained(observer, visit):
    too_heavy = picture()
    too_heavy.size = photos.MAX_BYTES + 1
    with pytest.raises(PhotoRefused, match="20 MB are allowed"):
        photos.store_photo(observer, visit.pk, row=1, upload=too_heavy)
    too_wide = picture("PNG", size=(10_000, 8_000), mode="1")
    with pytest.raises(PhotoRefused, match="10000 × 8000 pixels; 25 million"):
        photos.store_photo(observer, visit.pk, row=1, upload=too_wide)
    with pytest.raises(PhotoRefused, match="no sighting row 0"):
        photos.store_photo(observer, visit.pk, row=0, upload=picture())


TIGHT = bounded.Limits(seconds=20, cpu_seconds=5, memory_bytes=200 * 1024**2)


def test_too_many_pixels_are_refused_before_they_are_decoded(observer, visit, monkeypatch):
    """80 million pixels in some kB took 1.4 GB once they were decoded."""
    monkeypatch.setattr(photos, "LIMITS", TIGHT)
    upload = picture("PNG", size=(10_000, 8_000), mode="P")
    assert upload.size < 400_000
    with pytest.raises(PhotoRefused, match="pixels"):
        photos.store_photo(observer, visit.pk, row=1, upload=upload)


def test_a_photo_that_fills_the_memory_is_refused(observer, visit, monkeypatch):
    monkeypatch.setattr(photos, "LIMITS", TIGHT)
    with pytest.raises(PhotoRefused, match="too much time or memory"):
        photos.store_photo(
            observer, visit.pk, row=1, upload=picture("PNG", size=(5_000, 5_000), mode="RGBA")
        )


@pytest.mark.slow
@pytest.mark.parametrize(
    "options",
    [
        {"size": (10_000, 8_000), "progressive": True},
        {"kind": "PNG", "size": (5_000, 5_000), "mode": "RGBA"},
        {"kind": "WEBP", "size": (5_000, 5_000), "mode": "RGBA"},
    ],
    ids=["JPEG", "PNG", "WebP"],
)
def test_the_largest_photo_fits_the_limits(observer, visit, options):
    photo = photos.store_photo(observer, visit.pk, row=1, upload=picture(**options))
    assert max(kept(photo)[0].size) == 2400


def test_nothing_is_locked_while_a_photo_is_redrawn(observer, visit, monkeypatch):
    run, outside = bounded.run, list(connection.savepoint_ids)

    def submitted_meanwhile(*arguments):
        assert connection.savepoint_ids == outside, "a transaction is open"
        Visit.objects.filter(pk=visit.pk).update(
            state=VisitState.SUBMITTED, submitted_at=timezone.now()
        )
        return run(*arguments)

    monkeypatch.setattr(photos.bounded, "run", submitted_meanwhile)
    with pytest.raises(WrongState):
        photos.store_photo(observer, visit.pk, row=1, upload=picture())
    assert not Photo.objects.exists()


def test_new_photo_replaces_the_old_one(observer, visit, django_capture_on_commit_callbacks):
    old = photos.store_photo(observer, visit.pk, row=1, upload=picture())
    with django_capture_on_commit_callbacks(execute=True):
        new = photos.store_photo(observer, visit.pk, row=1, upload=picture(size=(200, 200)))
    assert Photo.objects.get() == new
    assert photos.find_photo(observer, visit.pk, row=1) == new
    assert not old.image.storage.exists(old.image.name)
    assert new.image.storage.exists(new.image.name)
    assert new.sha256 != old.sha256


@pytest.mark.parametrize("discard", [True, False])
def test_file_is_deleted_with_the_photo(
    observer, visit, discard, django_capture_on_commit_callbacks
):
    photo = photos.store_photo(observer, visit.pk, row=1, upload=picture())
    with django_capture_on_commit_callbacks(execute=True):
        if discard:
            discard_draft(observer, visit.pk)
        else:
            photos.remove_photo(observer, visit.pk, row=1)
    assert not Photo.objects.exists()
    assert not photo.image.storage.exists(photo.image.name)


def test_photo_without_a_sighting_is_reported(observer, visit):
    photos.store_photo(observer, visit.pk, row=2, upload=picture())
    beside = findings_by_cell(judge_sheet(visit))
    assert beside["sightings.2.species"][0].code == "sighting-incomplete"


def test_the_paper_sheet_is_kept_for_the_coordinator(observer, coordinator, visit, client_for):
    """Its pages are no sightings; both kinds of photos open from the review."""
    for row in (1, *photos.SHEET_PAGES.values()):
        photos.store_photo(observer, visit.pk, row=row, upload=picture())
    beside = findings_by_cell(judge_sheet(visit))
    assert {address.split(".")[1] for address in beside if "sightings" in address} == {"1"}
    species = make_species("Bufo bufo").code
    seen = {"sightings.1.species": species, "sightings.1.life_stage": "adult"}
    typed = type_cells(observer, visit, seen).visit
    submit_visit(observer, visit.pk, revision=typed.revision)
    client = client_for(coordinator)
    page = client.get(reverse("web:review_visit", args=[observer.program.slug, visit.pk]))
    shown = re.findall(r'<img[^>]* src="([^"]*/photos/[0-9]+)"', page.content.decode())
    assert [int(url.rpartition("/")[2]) for url in shown] == [1, *photos.SHEET_PAGES.values()]
    assert {client.get(url).status_code for url in shown} == {200}


def test_who_may_add_and_see_photos(observer, coordinator, partner, program, visit):
    photos.store_photo(observer, visit.pk, row=1, upload=picture())
    assert photos.find_photo(coordinator, visit.pk, row=1).row == 1
    other = make_member(program)
    for act in (photos.find_photo, photos.remove_photo):
        with pytest.raises(NotYours):
            act(other, visit.pk, row=1)
    with pytest.raises(NotYours):
        photos.store_photo(coordinator, visit.pk, row=2, upload=picture())
    with pytest.raises(NotYours, match="no photo"):
        photos.find_photo(observer, visit.pk, row=3)
    with pytest.raises((PermissionDenied, NotYours)):
        photos.store_photo(partner, visit.pk, row=1, upload=picture())


def test_no_cache_keeps_a_photo(observer, program, visit, client_for):
    photos.store_photo(observer, visit.pk, row=1, upload=picture())
    shown = client_for(observer).get(f"/{program.slug}/sheets/{visit.pk}/photos/1")
    assert shown["Content-Type"] == "image/jpeg"
    assert shown["Cache-Control"] == "private, no-store"


def test_a_submitted_sheet_takes_no_photo(observer, program):
    visit = make_submitted(observer, make_route(program))
    with pytest.raises(WrongState):
        photos.store_photo(observer, visit.pk, row=1, upload=picture())
