"""A full disk: a sentence in place of a server error, and nothing half-stored."""

import errno
import io
import os
import shutil
import subprocess
import tempfile
from pathlib import Path

import pytest
from django.core.files.base import ContentFile
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from PIL import Image

from surveys import disk
from surveys.models import Photo, Publication, RecordingPiece, RunState
from surveys.publishing.publish import request_publication
from surveys.visits.media.storage import WholeFileStorage
from tests.support.builders import make_accepted_visit, make_checklist, make_route
from tests.support.runs import carry_out
from tests.support.sheets import make_draft
from tests.support.sounds import Uploader, sound

pytestmark = pytest.mark.django_db

SAID = "server’s disk is full"
DISK_BYTES = 1024 * 1024


@pytest.fixture(scope="module")
def small_disk():
    """A file system of 1 MB."""
    path = Path(tempfile.mkdtemp(prefix="duskpool-small-disk-"))
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", f"size={DISK_BYTES}", "tmpfs", path],
        check=False,
        capture_output=True,
    )
    if mounted.returncode:
        path.rmdir()
        pytest.skip("Only root may mount a small disk.")
    yield path
    subprocess.run(["umount", path], check=True)
    path.rmdir()


@pytest.fixture
def full_disk(small_disk, settings):
    """The disk of the media with 8 kB left."""
    settings.MEDIA_ROOT = small_disk / "media"
    settings.STORAGES = {
        **settings.STORAGES,
        "default": {"BACKEND": "surveys.visits.media.storage.WholeFileStorage"},
    }
    settings.MEDIA_ROOT.mkdir()
    filler = small_disk / "filler"
    filler.write_bytes(bytes(DISK_BYTES - 2 * 4096))
    assert shutil.disk_usage(small_disk).free <= 2 * 4096
    yield filler
    filler.unlink(missing_ok=True)
    shutil.rmtree(settings.MEDIA_ROOT)


@pytest.fixture
def visit(program, observer):
    return make_draft(observer, make_route(program))


@pytest.fixture
def client(client_for, observer):
    client = client_for(observer)
    client.raise_request_exception = False
    return client


def files_below(folder: Path) -> list[str]:
    return [str(path) for path in folder.rglob("*") if path.is_file()]


def noise() -> SimpleUploadedFile:
    """A photo that stays large when it is drawn again."""
    out = io.BytesIO()
    Image.frombytes("RGB", (300, 300), os.urandom(270_000)).save(out, "PNG")
    return SimpleUploadedFile("noise.png", out.getvalue())


def test_a_photo(full_disk, client, visit, settings):
    url = f"/{visit.route.program.slug}/sheets/{visit.pk}/photos/1"
    response = client.post(url, {"photo": noise()})
    assert response.status_code == 507
    assert SAID in response.content.decode()
    assert not Photo.objects.exists()
    assert files_below(settings.MEDIA_ROOT) == []
    full_disk.unlink()
    assert client.post(url, {"photo": noise()}).status_code == 302
    assert Photo.objects.exists()


def test_a_piece_of_a_recording(full_disk, client, visit, settings):
    uploader = Uploader(client=client, visit=visit, content=sound(50_000))
    uploader.begin()
    response = uploader.piece(0)
    assert (response.status_code, SAID in response.json()["detail"]) == (507, True)
    assert not RecordingPiece.objects.exists()
    assert files_below(settings.MEDIA_ROOT) == []
    assert uploader.head()["Upload-Offset"] == "0"
    full_disk.unlink()
    assert uploader.piece(0)["Upload-Complete"] == "?1"


def test_an_upload_on_its_way(full_disk, small_disk, client_for, coordinator, settings):
    """Files of more than 2.5 MB lie on a disk before any view sees them."""
    settings.FILE_UPLOAD_TEMP_DIR = str(small_disk)
    client = client_for(coordinator)
    client.raise_request_exception = False
    file = SimpleUploadedFile("visits.csv", b"Route\n" * 600_000)
    response = client.post(f"/{coordinator.program.slug}/import/", {"file": file})
    assert response.status_code == 507
    assert SAID in response.content.decode()
    assert files_below(small_disk) == [str(full_disk)]


def test_a_publication(full_disk, small_disk, program, coordinator, monkeypatch):
    (peeper,) = make_checklist(program)
    make_accepted_visit(make_route(program), coordinator.person, heard={1: {peeper: 2}})
    run = request_publication(coordinator, 2024)
    monkeypatch.setattr(tempfile, "tempdir", str(small_disk))
    carry_out(run)
    assert run.state == RunState.FAILED
    assert SAID in run.problem
    assert "Nothing was published" in run.problem
    assert not Publication.objects.exists()
    assert files_below(small_disk) == [str(full_disk)]


FULL_DATABASE = """
CREATE FUNCTION full_disk() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN RAISE EXCEPTION 'could not extend file' USING ERRCODE = '53100'; END $$;
CREATE TRIGGER full_disk BEFORE INSERT OR UPDATE ON {table}
FOR EACH ROW EXECUTE FUNCTION full_disk();
"""


def test_the_disk_of_the_database(client, client_for, coordinator, visit):
    with connection.cursor() as cursor:
        cursor.execute(FULL_DATABASE.format(table="surveys_visit"))
    slug = visit.route.program.slug
    response = client.patch(
        f"/api/v1/{slug}/visits/{visit.pk}/",
        {"changes": {"notes": {"was": "", "now": "Windy."}}},
        content_type="application/json",
    )
    assert (response.status_code, SAID in response.json()["detail"]) == (507, True)
    response = client.post(f"/{slug}/sheets/{visit.pk}/", {"notes": "Windy.", "rendered": "{}"})
    assert response.status_code == 507
    assert SAID in response.content.decode()


class _Cut(ContentFile):
    def chunks(self, chunk_size=None):
        yield b"the beginning"
        raise OSError(errno.ENOSPC, "No space left on device")


def test_the_beginning_of_a_file_is_not_left(tmp_path):
    storage = WholeFileStorage(location=tmp_path)
    storage.save("photos/other.jpg", ContentFile(b"other"))
    with pytest.raises(OSError, match="No space"):
        storage.save("photos/a.jpg", _Cut(b""))
    assert files_below(tmp_path) == [str(tmp_path / "photos/other.jpg")]


@pytest.mark.parametrize(
    ("error", "full"),
    [
        (OSError(errno.ENOSPC, "x"), True),
        (OSError(errno.EDQUOT, "x"), True),
        (OSError(errno.EACCES, "x"), False),
        (RuntimeError("database or disk is full"), True),
        (ValueError("full"), False),
        (None, False),
    ],
)
def test_a_full_disk_is_told_from_other_errors(error, full):
    assert disk.is_full(error) == full
    around = RuntimeError("other")
    around.__cause__ = error
    assert disk.is_full(around) == full
