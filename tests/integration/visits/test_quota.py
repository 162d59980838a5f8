"""How much a person and a program may store: counted by the database, said where it is reached."""

import io
from importlib import import_module

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import CommandError, call_command
from django.db import connection
from PIL import Image

from surveys.importing.uploads import discard, store
from surveys.models import Photo, Recording, SpreadsheetImport, StorageUse
from surveys.visits.drafts import discard_draft
from surveys.visits.exceptions import NoRoomLeft
from surveys.visits.media.photos import remove_photo, store_photo
from surveys.visits.media.quota import check_room
from surveys.visits.media.recordings import remove_recording
from surveys.visits.tidying import tidy
from tests.support.builders import make_member, make_program, make_route
from tests.support.sheets import make_draft
from tests.support.sounds import Uploader, keep, sound

pytestmark = pytest.mark.django_db

CSV = b"route,night,stop\nR1,2024-04-15,1\n"


@pytest.fixture
def visit(program, observer):
    return make_draft(observer, make_route(program))


def picture() -> SimpleUploadedFile:
    out = io.BytesIO()
    Image.new("RGB", (60, 40), "green").save(out, "JPEG")
    return SimpleUploadedFile("toad.jpg", out.getvalue())


def stored(member) -> int:
    rows = StorageUse.objects.filter(program=member.program, person=member.person)
    return rows.values_list("bytes", flat=True).first() or 0


def test_what_is_stored_is_counted_and_what_is_deleted_no_longer(observer, coordinator, visit):
    recording = keep(observer, visit, sound(5000))
    photo = store_photo(observer, visit.pk, row=1, upload=picture())
    assert photo.bytes == photo.image.size
    assert stored(observer) == 5000 + photo.bytes
    upload = store(coordinator, file_name="visits.csv", content=CSV)
    assert stored(coordinator) == len(CSV)
    discard(coordinator, upload)
    assert stored(coordinator) == 0
    remove_recording(observer, recording.pk)
    assert stored(observer) == photo.bytes
    remove_photo(observer, visit.pk, row=1)
    assert stored(observer) == 0


def test_what_was_there_before_it_was_counted(observer, coordinator, visit):
    keep(observer, visit, sound(5000))
    store(coordinator, file_name="visits.csv", content=CSV)
    StorageUse.objects.all().delete()
    migration = import_module("surveys.migrations.0017_storage_use")
    with connection.cursor() as cursor:
        cursor.execute(migration.COUNT_STORED)
    assert (stored(observer), stored(coordinator)) == (5000, len(CSV))


def test_a_discarded_draft_gives_its_room_back(observer, visit):
    keep(observer, visit, sound(5000))
    store_photo(observer, visit.pk, row=1, upload=picture())
    discard_draft(observer, visit.pk)
    assert stored(observer) == 0


def test_a_recording_keeps_its_room_from_its_announcement_on(client_for, observer, visit):
    uploader = Uploader(client=client_for(observer), visit=visit, content=sound(5000))
    uploader.begin()
    assert stored(observer) == 5000
    uploader.piece(0)
    assert stored(observer) == 5000


def test_photos_of_before_are_counted_at_night(observer, visit):
    photo = store_photo(observer, visit.pk, row=1, upload=picture())
    Photo.objects.update(bytes=0)
    assert stored(observer) == 0
    tidy(timestamp=0)
    assert stored(observer) == photo.bytes


def test_a_person_has_one_limit_in_all_programs_and_a_program_one_for_all(
    program, observer, visit, settings
):
    settings.MOST_BYTES_OF_A_PERSON, settings.MOST_BYTES_OF_A_PROGRAM = 10_000, 14_000
    keep(observer, visit, sound(9000))
    check_room(observer, 1000)
    elsewhere = make_member(make_program(), person=observer.person)
    for member in (observer, elsewhere):
        with pytest.raises(NoRoomLeft, match=r"9[.]8.KB, which is the most for one person"):
            check_room(member, 1001)
    other = make_member(program)
    check_room(other, 5000)
    with pytest.raises(NoRoomLeft, match=r"13[.]7.KB, which is the most for a program"):
        check_room(other, 5001)
    check_room(make_member(make_program()), 5001)


def test_it_is_said_on_every_way_in(client_for, observer, coordinator, visit, settings, tmp_path):
    settings.MOST_BYTES_OF_A_PERSON = 20
    slug = visit.route.program.slug
    answer = Uploader(client=client_for(observer), visit=visit).begin()
    assert (answer.status_code, answer.json()["detail"][:12]) == (507, "Your photos,")
    for path, field, file in (
        ("photos/1", "photo", picture()),
        ("recordings", "sound", SimpleUploadedFile("a.webm", sound(5000))),
    ):
        page = client_for(observer).post(
            f"/{slug}/sheets/{visit.pk}/{path}", {field: file, "kind": "voucher"}, follow=True
        )
        assert "the most for one person" in page.content.decode(), path
    page = client_for(coordinator).post(
        f"/{slug}/import/", {"file": SimpleUploadedFile("visits.csv", CSV)}
    )
    assert page.status_code == 400
    assert "the most for one person" in page.content.decode()
    path = tmp_path / "visits.csv"
    path.write_bytes(CSV)
    with pytest.raises(CommandError, match="the most for one person"):
        call_command("import_visits", slug, path, "--as", coordinator.person.email)
    assert not any(model.objects.exists() for model in (Photo, Recording, SpreadsheetImport))
