"""Uploaded files in a bucket: moto, a server of its own that speaks S3, is asked what is there.

What is asked of S3 is from the Amazon S3 API Reference, GetObject (Range) and ListObjectsV2.
"""

import io
import threading
import uuid
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest
import requests
from django.conf import settings
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import override_settings
from PIL import Image

from surveys.models import Recording, RecordingState
from surveys.operations.problems import site_problems
from surveys.operations.readiness import media_is_writable
from surveys.visits.media.photos import store_photo
from tests.support.builders import make_route
from tests.support.object_server import client_of, object_server, storage_in
from tests.support.served import free_port
from tests.support.sheets import make_draft
from tests.support.sounds import Uploader, sound

pytestmark = pytest.mark.django_db

SIZE = 3_000_000


class Counting(BaseHTTPRequestHandler):
    """Passes a request on to the server and counts the bytes of what is answered to GET."""

    protocol_version = "HTTP/1.1"

    def _pass_on(self) -> None:
        content = self.rfile.read(int(self.headers.get("Content-Length", 0)))
        answer = requests.request(
            self.command, self.server.behind + self.path, data=content, headers=dict(self.headers)
        )
        if self.command == "GET":
            self.server.read.append(len(answer.content))
        self.send_response(answer.status_code)
        for name, value in answer.headers.items():
            if name.lower() not in ("connection", "transfer-encoding", "server", "date"):
                self.send_header(name, value)
        if self.command != "HEAD" and "Content-Length" not in answer.headers:
            self.send_header("Content-Length", str(len(answer.content)))
        self.end_headers()
        self.wfile.write(answer.content)

    do_GET = do_PUT = do_HEAD = do_DELETE = do_POST = _pass_on  # noqa: N815 - named by http.server

    def log_message(self, *_args: object) -> None:
        pass


@pytest.fixture(scope="module")
def server():
    """What counts, before the storage."""
    with object_server() as address:
        server = ThreadingHTTPServer(("127.0.0.1", free_port()), Counting)
        server.behind, server.read = address, []
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        yield server
        server.shutdown()
        thread.join()
        server.server_close()


@pytest.fixture
def bucket(server):
    bucket = f"b{uuid.uuid4()}"
    client_of(server.behind).create_bucket(Bucket=bucket)
    address = f"http://127.0.0.1:{server.server_address[1]}"
    with override_settings(STORAGES=settings.STORAGES | {"default": storage_in(address, bucket)}):
        yield bucket


@pytest.fixture
def names(server, bucket):
    def names() -> list[str]:
        found = client_of(server.behind).list_objects_v2(Bucket=bucket).get("Contents", [])
        return [one["Key"] for one in found]

    return names


def test_a_recording_through_two_hosts_is_read_in_parts_and_erased(
    server, names, program, observer, client_for, django_capture_on_commit_callbacks
):
    """A web host that gets a piece need not be the one that got the piece before: nothing of an
    upload is on its disk."""
    visit = make_draft(observer, make_route(program))
    phone = Uploader(client=client_for(observer), visit=visit, content=sound(SIZE))
    phone.begin()
    with django_capture_on_commit_callbacks(execute=True):
        phone.piece(0, SIZE // 2)
    assert len(names()) == 1
    phone.client = client_for(observer)
    with django_capture_on_commit_callbacks(execute=True):
        assert phone.piece(SIZE // 2, SIZE).status_code == 204
    recording = Recording.objects.get()
    assert recording.state == RecordingState.COMPLETE
    assert names() == [recording.audio.name], "the pieces are gone"
    stored = client_of(server.behind).head_object(
        Bucket=default_storage.bucket_name, Key=recording.audio.name
    )
    assert stored["ContentLength"] == SIZE

    where = f"/{program.slug}/recordings/{recording.pk}"
    server.read.clear()
    part = phone.client.get(where, headers={"Range": "bytes=1500000-1565535"})
    assert (part.status_code, part["Content-Range"]) == (206, f"bytes 1500000-1565535/{SIZE}")
    assert b"".join(part) == phone.content[1_500_000:1_565_536]
    assert server.read == [65_536], "no other byte left the storage"
    assert b"".join(phone.client.get(where)) == phone.content
    assert phone.client.get(where, headers={"Range": f"bytes={SIZE}-"}).status_code == 416
    assert phone.client.head(where)["Content-Length"] == str(SIZE)

    with django_capture_on_commit_callbacks(execute=True):
        phone.delete()
    assert names() == []


def test_a_photo_is_shown_to_whom_the_site_lets_see_it(
    names, program, observer, partner, client_for
):
    visit = make_draft(observer, make_route(program))
    picture = io.BytesIO()
    Image.new("RGB", (8, 8)).save(picture, "JPEG")
    upload = SimpleUploadedFile("p.jpg", picture.getvalue(), "image/jpeg")
    photo = store_photo(observer, visit.pk, row=1, upload=upload)
    assert names() == [photo.image.name]
    where = f"/{program.slug}/sheets/{visit.pk}/photos/1"
    shown = client_for(observer).get(where)
    assert b"".join(shown)[:3] == b"\xff\xd8\xff"
    assert shown["Content-Type"] == "image/jpeg"
    assert client_for(partner).get(where).status_code in (403, 404)


def test_a_file_that_is_gone_is_no_empty_answer(bucket):
    with pytest.raises(FileNotFoundError):
        list(default_storage.read_part("recordings/none.webm", 0, 9))
    with pytest.raises(FileNotFoundError):
        default_storage.size("recordings/none.webm")


def test_a_storage_that_is_away_is_noticed(bucket):
    assert media_is_writable()
    gone = storage_in(f"http://127.0.0.1:{free_port()}", bucket)
    with override_settings(STORAGES=settings.STORAGES | {"default": gone}):
        assert not media_is_writable()
        assert f"No file can be saved in {bucket}" in " ".join(one.words for one in site_problems())
    assert media_is_writable()
