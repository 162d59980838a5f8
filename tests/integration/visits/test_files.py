"""Files that a rolled-back transaction left behind are swept up; no other is touched."""

import datetime as dt
import io
import uuid

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection, transaction
from django.test import override_settings
from django.utils import timezone
from PIL import Image

from surveys.models import (
    Recording,
    RecordingPiece,
)
from surveys.visits.media.files import (
    YOUNG,
    database_folder,
    storage_path,
    sweep_files,
)
from surveys.visits.media.photos import store_photo
from surveys.visits.media.recordings import (
    add_piece,
    begin_recording,
)
from surveys.visits.tidying import tidy
from tests.support.builders import make_route
from tests.support.object_server import client_of, object_server, storage_in
from tests.support.sheets import make_draft
from tests.support.sounds import (
    announced,
    keep,
    sound,
)

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def server():
    with object_server() as address:
        yield address


@pytest.fixture(autouse=True, params=["disk", "bucket"])
def _own_storage(request, tmp_path):
    """Files of this test only, on a disk and in an object storage."""
    storage = {"BACKEND": "surveys.visits.media.storage.WholeFileStorage"}
    if request.param == "bucket":
        address, bucket = request.getfixturevalue("server"), f"b{uuid.uuid4()}"
        client_of(address).create_bucket(Bucket=bucket)
        storage = storage_in(address, bucket)
    with override_settings(MEDIA_ROOT=tmp_path, STORAGES={"default": storage}):
        yield


@pytest.fixture
def visit(program, observer):
    return make_draft(observer, make_route(program))


LATER = YOUNG + dt.timedelta(minutes=1)


def test_files_of_a_rolled_back_transaction_are_swept(observer, visit):
    kept = keep(observer, visit, sound(seed=1))
    announcement = announced(visit, sound(seed=2))
    begin_recording(observer, announcement)
    with transaction.atomic():
        add_piece(observer, announcement.id, offset=0, content=io.BytesIO(sound(2000)), length=2000)
        lost = RecordingPiece.objects.get(recording=announcement.id).content.name
        transaction.set_rollback(True)
    add_piece(observer, announcement.id, offset=0, content=io.BytesIO(sound(2000)), length=2000)
    piece = RecordingPiece.objects.get(recording=announcement.id).content.name
    photo = default_storage.save(f"photos/2024/{storage_path('nobody.jpg')}", ContentFile(b"x"))
    other = default_storage.save("publications/table.csv", ContentFile(b"x"))
    assert sweep_files() == 0, "a young file may belong to a transaction under way"
    # Joining left the first recording's piece too: here nothing is committed.
    assert sweep_files(timezone.now() + LATER) == 3
    assert not default_storage.exists(lost)
    assert not default_storage.exists(photo)
    assert {default_storage.exists(name) for name in (kept.audio.name, piece, other)} == {True}


def test_files_of_another_database_survive():
    """Two databases with one MEDIA_ROOT: each sweeps its own folder and no other."""
    with connection._nodb_cursor() as cursor:
        other = database_folder(cursor)
    own_folder = storage_path("x").split("/")[0]
    assert len({own_folder, other}) == 2
    theirs = [f"recordings/arriving/{other}/a-0", f"photos/2024/{other}/a.jpg"]
    older = ["recordings/2024/a.webm", "photos/2024/a.jpg", f"photos/2024/{own_folder}.jpg"]
    lost = f"recordings/arriving/{own_folder}/b-0"
    for name in (*theirs, *older, lost):
        default_storage.save(name, ContentFile(b"x"))
    assert sweep_files(timezone.now() + LATER) == 1
    assert not default_storage.exists(lost)
    assert all(default_storage.exists(name) for name in (*theirs, *older))


def test_every_file_is_stored_in_the_folder_of_its_database(observer, visit):
    announcement = announced(visit, sound(seed=2))
    begin_recording(observer, announcement)
    add_piece(observer, announcement.id, offset=0, content=io.BytesIO(sound(2000)), length=2000)
    picture = io.BytesIO()
    Image.new("RGB", (8, 8)).save(picture, "JPEG")
    upload = SimpleUploadedFile("p.jpg", picture.getvalue(), "image/jpeg")
    names = [
        keep(observer, visit, sound(seed=1)).audio.name,
        RecordingPiece.objects.get(recording=announcement.id).content.name,
        store_photo(observer, visit.pk, row=1, upload=upload).image.name,
    ]
    assert {name.split("/")[-2] for name in names} == {storage_path("x").split("/")[0]}


def test_sweep_without_files():
    assert sweep_files(timezone.now() + LATER) == 0


def test_nightly_cleanup(observer, visit):
    """Recordings whose joining was cut off are joined; a damaged one waits for its phone."""
    for seed, digest in ((1, None), (2, "0" * 64)):
        content = sound(seed=seed)
        announcement = announced(visit, content, **({"sha256": digest} if digest else {}))
        begin_recording(observer, announcement)
        add_piece(
            observer, announcement.id, offset=0, content=io.BytesIO(content), length=len(content)
        )
    tidy(timestamp=0)
    assert sorted(Recording.objects.values_list("state", "received")) == [
        ("arriving", 0),
        ("complete", 5000),
    ]
