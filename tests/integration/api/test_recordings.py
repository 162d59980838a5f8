"""Recordings over the tus resumable upload protocol 1.0.0 (2016-03-25). The section of the
standard stands beside each check."""

import datetime as dt
import email.utils
import hashlib
import io
import uuid

import pytest
from django.core.files.storage import default_storage
from django.test import Client
from django.utils import timezone

from accounts.models import Role
from surveys.api.views import recordings as views
from surveys.models import (
    Recording,
    RecordingPiece,
    RecordingState,
    VisitState,
)
from surveys.visits.drafts import discard_draft
from surveys.visits.exceptions import RecordingDamaged
from surveys.visits.media import recordings as verbs
from surveys.visits.media.audio_formats import MAX_BYTES
from surveys.visits.tidying import tidy
from tests.support.builders import (
    make_checklist,
    make_member,
    make_program,
    make_route,
)
from tests.support.sheets import (
    make_draft,
    make_submitted,
)
from tests.support.sounds import (
    PIECE,
    Uploader,
    checksum,
    metadata,
    sound,
)
from tests.support.virus_scanner import FOUND, MARK, scanned_by, scanner

pytestmark = pytest.mark.django_db

SECOND = dt.timedelta(seconds=1)


@pytest.fixture
def visit(program, observer):
    make_checklist(program)
    return make_draft(observer, make_route(program))


@pytest.fixture
def phone(client_for, observer, visit) -> Uploader:
    return Uploader(client=client_for(observer), visit=visit)


def kept() -> bytes:
    with Recording.objects.get().audio.open("rb") as file:
        return file.read()


def stored_files() -> list[str]:
    names = []

    def walk(folder):
        folders, files = default_storage.listdir(folder)
        names.extend(f"{folder}/{name}" for name in files)
        for name in folders:
            walk(f"{folder}/{name}")

    if default_storage.exists("recordings"):
        walk("recordings")
    return names


def words(response) -> str:
    return response.json()["detail"]


def test_server_capabilities(phone):
    """OPTIONS; Tus-Resumable is not needed (Requests, OPTIONS)."""
    response = phone.client.options(phone.home)
    assert response.status_code == 204
    assert response["Tus-Version"] == response["Tus-Resumable"] == "1.0.0"
    assert response["Tus-Extension"] == "creation,checksum,expiration,termination"
    assert response["Tus-Max-Size"] == str(MAX_BYTES)
    # Checksum: sha1 must be supported.
    assert response["Tus-Checksum-Algorithm"] == "sha256,sha1"
    assert phone.client.options(phone.place).status_code == 204


def test_creation(phone, observer, visit):
    """Creation, POST: 201 and Location."""
    response = phone.begin(stop=2, species="pseudacris-crucifer")
    assert response.status_code == 201
    assert response["Location"] == phone.place
    assert response["Tus-Resumable"] == "1.0.0"
    stored = Recording.objects.get()
    assert (stored.pk, stored.visit, stored.uploaded_by) == (phone.id, visit, observer.person)
    assert (stored.stop.number, stored.species.code) == (2, "pseudacris-crucifer")
    assert (stored.kind, stored.media_type, stored.seconds) == ("voucher", "audio/webm", 2.5)
    assert (stored.state, stored.received, stored.bytes) == ("arriving", 0, 5000)


def test_repeated_announcement_creates_no_second_recording(phone):
    assert {phone.begin().status_code for _ in range(3)} == {201}
    assert Recording.objects.count() == 1


def test_progress(phone):
    """Requests, HEAD: offset, length, metadata as they were sent, never cached."""
    phone.begin()
    response = phone.head()
    assert response.status_code == 200
    assert (response["Upload-Offset"], response["Upload-Length"]) == ("0", "5000")
    assert response["Cache-Control"] == "private, no-store"
    assert response["Upload-Metadata"] == metadata(**phone.said())
    assert response["Upload-Complete"] == "?0"
    phone.piece(0, 2000)
    assert phone.head()["Upload-Offset"] == "2000"


def test_pieces_become_the_recording(phone):
    """Requests, PATCH: 204 with the new offset."""
    phone.begin()
    for first, last in ((0, 2000), (2000, 4000), (4000, 5000)):
        response = phone.piece(first, last)
        assert (response.status_code, response["Upload-Offset"]) == (204, str(last))
    assert response["Upload-Complete"] == "?1"
    stored = Recording.objects.get()
    assert stored.state == RecordingState.COMPLETE
    assert kept() == phone.content
    assert hashlib.sha256(kept()).hexdigest() == stored.sha256
    assert not RecordingPiece.objects.exists()


def test_one_piece_and_no_checksum(phone):
    phone.begin()
    assert phone.piece(0, headers={"Upload-Checksum": ""}).status_code == 204
    assert kept() == phone.content


def test_an_empty_piece_changes_nothing(phone):
    phone.begin()
    response = phone.piece(0, 0)
    assert (response.status_code, response["Upload-Offset"]) == (204, "0")


@pytest.mark.parametrize("offset", [0, 1999, 2001, 5000])
def test_wrong_offset(phone, offset):
    """Requests, PATCH: 409 without a change."""
    phone.begin()
    phone.piece(0, 2000)
    response = phone.piece(offset, offset + 100)
    assert response.status_code == 409
    assert "Ask how far" in words(response)
    assert phone.head()["Upload-Offset"] == "2000"
    assert RecordingPiece.objects.count() == 1


def test_piece_repeated_after_a_lost_response(phone):
    phone.begin()
    for first in (0, 0, 0):
        phone.piece(first, 2000)
    assert phone.piece(2000).status_code == 204
    assert phone.piece(2000).status_code == 409
    assert phone.piece(5000, 5000).status_code == 204
    assert kept() == phone.content


def test_checksum_of_a_piece(phone):
    """Checksum: 460, the piece thrown away, the offset as it was; 400 for an algorithm that
    is not known; sha1 is."""
    phone.begin()
    damaged = phone.piece(0, 2000, headers={"Upload-Checksum": checksum(b"other")})
    assert damaged.status_code == 460
    assert "damaged on its way" in words(damaged)
    unknown = phone.piece(0, 2000, headers={"Upload-Checksum": "crc32 AAAAAA=="})
    assert unknown.status_code == 400
    assert phone.head()["Upload-Offset"] == "0"
    sha1 = checksum(phone.content[:2000], "sha1")
    assert phone.piece(0, 2000, headers={"Upload-Checksum": sha1}).status_code == 204


def test_content_type(phone):
    """Requests, PATCH: 415."""
    phone.begin()
    assert phone.piece(0, kind="application/octet-stream").status_code == 415
    assert phone.head()["Upload-Offset"] == "0"


@pytest.mark.parametrize("version", ["", "0.2.2", "1.0"])
def test_version(phone, version):
    """Headers, Tus-Resumable: 412 with Tus-Version, and nothing done."""
    response = phone.begin(headers={"Tus-Resumable": version})
    assert (response.status_code, response["Tus-Version"]) == (412, "1.0.0")
    assert not Recording.objects.exists()


def test_method_override(phone):
    """Headers, X-HTTP-Method-Override; only a POST can stand for another method."""
    phone.begin()
    body = phone.content
    headers = {"Upload-Offset": "0", "X-HTTP-Method-Override": "PATCH"}
    response = phone.send("POST", phone.place, headers, body, PIECE)
    assert response.status_code == 204
    assert kept() == body
    phone.send("GET", phone.place, {"X-HTTP-Method-Override": "DELETE"})
    assert Recording.objects.exists()


def test_termination(phone):
    """Termination, DELETE: 204, and 404 from then on."""
    phone.begin()
    phone.piece(0, 2000)
    assert phone.delete().status_code == 204
    assert {
        response.status_code for response in (phone.head(), phone.piece(2000), phone.delete())
    } == {404}
    assert not Recording.objects.exists()


def test_expiration(phone):
    """Expiration, Upload-Expires: the date of RFC 9110 5.6.7 in the answers to POST and PATCH
    of an upload that is not finished; 404 once it is gone, and then it begins anew."""
    expires = [phone.begin(), phone.head(), phone.piece(0, 2000)]
    begun = Recording.objects.get().begun_at
    for response in expires:
        at = email.utils.parsedate_to_datetime(response["Upload-Expires"])
        assert at == (begun + verbs.UPLOAD_LIFETIME).replace(microsecond=0)
        assert response["Upload-Expires"].endswith(" GMT")
    assert verbs.expire_unfinished(begun + verbs.UPLOAD_LIFETIME) == 0
    assert stored_files()
    assert verbs.expire_unfinished(begun + verbs.UPLOAD_LIFETIME + SECOND) == 1
    assert {response.status_code for response in (phone.head(), phone.piece(2000))} == {404}
    assert not Recording.objects.exists()
    assert phone.begin().status_code == 201
    complete = phone.piece(0)
    assert complete["Upload-Complete"] == "?1"
    assert "Upload-Expires" not in complete
    assert kept() == phone.content
    assert verbs.expire_unfinished(timezone.now() + 2 * verbs.UPLOAD_LIFETIME) == 0


def test_complete_upload_does_not_expire(phone, monkeypatch):
    """Its joining was cut off; that is made up for at night."""
    monkeypatch.setattr(views, "assemble_recording", lambda recording_id: None)
    phone.begin()
    phone.piece(0)
    assert verbs.expire_unfinished(timezone.now() + 2 * verbs.UPLOAD_LIFETIME) == 0
    assert Recording.objects.get().state == RecordingState.ARRIVING


def test_too_large(phone):
    """Creation, POST: 413 beyond Tus-Max-Size; a piece that goes beyond what was announced."""
    response = phone.begin(headers={"Upload-Length": str(MAX_BYTES + 1)})
    assert response.status_code == 413
    assert "40.0 MB are allowed" in words(response)
    phone.begin()
    phone.content += b"more"
    response = phone.piece(0)
    assert response.status_code == 413
    assert "announced with 5000 bytes" in words(response)
    assert phone.head()["Upload-Offset"] == "0"


@pytest.mark.parametrize(
    ("changes", "status", "sentence"),
    [
        ({"kind": "song"}, 422, "one of: voucher, note"),
        ({"filetype": "video/mp4"}, 422, "“video/mp4” is not accepted"),
        ({"seconds": "1801"}, 422, "30 minutes at most"),
        ({"seconds": "nan"}, 422, "30 minutes at most"),
        ({"seconds": "-1"}, 422, "30 minutes at most"),
        ({"sha256": "0" * 63}, 422, "64 digits"),
        ({"species": "rana-nulla"}, 422, "There is no species"),
        ({"id": "7"}, 400, "“id”"),
        ({"visit": uuid.uuid4()}, 404, "Send the visit first"),
    ],
)
def test_refused_announcements(phone, changes, status, sentence):
    response = phone.begin(**changes)
    assert response.status_code == status
    assert sentence in words(response)
    assert not Recording.objects.exists()


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"Upload-Length": ""}, 400),
        ({"Upload-Length": "-5"}, 400),
        ({"Upload-Length": "0"}, 422),
        ({"Upload-Defer-Length": "1"}, 400),
        ({"Upload-Metadata": "id ***"}, 400),
    ],
)
def test_unreadable_headers(phone, headers, status):
    response = phone.begin(headers=headers)
    assert response.status_code == status
    assert words(response)


def test_offset_must_be_a_number(phone):
    phone.begin()
    assert phone.piece(0, headers={"Upload-Offset": "first"}).status_code == 400
    response = phone.send("PATCH", phone.place, {"Upload-Checksum": ""}, b"x", PIECE)
    assert response.status_code == 400
    assert response.json()["where"] == "Upload-Offset"


def test_stop_that_was_closed(phone):
    """A phone may carry a week-old route: the sound is taken all the same."""
    assert phone.begin(stop=99).status_code == 201
    assert Recording.objects.get().stop is None
    assert "OTk=" in phone.head()["Upload-Metadata"]


def test_content_does_not_match_the_media_type(phone):
    phone.content = b"<html>" + bytes(100)
    phone.begin()
    response = phone.piece(0)
    assert response.status_code == 422
    assert "not sound of the type audio/webm" in words(response)
    assert phone.head()["Upload-Offset"] == "0"


def test_another_recording_under_the_same_id(phone):
    phone.whole()
    other = Uploader(client=phone.client, visit=phone.visit, content=sound(seed=2), id=phone.id)
    response = other.begin()
    assert response.status_code == 422
    assert kept() == phone.content


def test_checksum_of_the_whole_is_wrong(phone):
    """Every piece was right, the whole is not: the upload begins anew."""
    phone.begin(sha256=hashlib.sha256(b"other").hexdigest())
    response = phone.piece(0)
    assert response.status_code == 409
    assert "from the start" in words(response)
    assert phone.head()["Upload-Offset"] == "0"
    assert not RecordingPiece.objects.exists()


def test_quota_of_a_visit(phone, monkeypatch):
    monkeypatch.setattr(verbs, "MAX_RECORDINGS", 2)
    for seed in (1, 2):
        other = Uploader(client=phone.client, visit=phone.visit, content=sound(seed=seed))
        assert other.begin().status_code == 201
    response = phone.begin()
    assert response.status_code == 422
    assert "room for 2 recordings" in words(response)
    monkeypatch.setattr(verbs, "MAX_RECORDINGS", 10)
    monkeypatch.setattr(verbs, "MAX_TOTAL_BYTES", 12_000)
    response = phone.begin()
    assert response.status_code == 422
    assert "together" in words(response)


class Broken(io.BytesIO):
    """A connection that breaks off after some bytes."""

    def __init__(self, content: bytes, after: int) -> None:
        super().__init__(content[:after])


@pytest.mark.parametrize(
    ("header", "there"), [("", 1500), (None, 0)], ids=["no checksum", "checksum"]
)
def test_broken_connection_keeps_what_was_received(phone, header, there):
    """Requests, PATCH: as much as possible is stored; Checksum: never what was not checked."""
    phone.begin()
    body = phone.content[:2000]
    response = phone.client.request(
        REQUEST_METHOD="PATCH",
        PATH_INFO=phone.place,
        CONTENT_TYPE=PIECE,
        CONTENT_LENGTH="2000",
        HTTP_TUS_RESUMABLE="1.0.0",
        HTTP_UPLOAD_OFFSET="0",
        HTTP_UPLOAD_CHECKSUM=checksum(body) if header is None else header,
        **{"wsgi.input": Broken(body, 1500)},
    )
    assert response.status_code == (460 if header is None else 204)
    assert phone.head()["Upload-Offset"] == str(there)
    assert phone.piece(there).status_code == 204
    assert kept() == phone.content


def test_failed_assembly_is_repeated_later(phone, monkeypatch):
    """All bytes came, then the server fell over: nothing is sent again."""

    def fall_over(*_):
        raise OSError("No space left")

    phone.begin()
    with monkeypatch.context() as patched:
        patched.setattr(views, "assemble_recording", fall_over)
        phone.client.raise_request_exception = False
        assert phone.piece(0).status_code == 500
    response = phone.head()
    assert (response["Upload-Offset"], response["Upload-Complete"]) == ("5000", "?0")
    assert phone.piece(5000, 5000)["Upload-Complete"] == "?1"
    assert kept() == phone.content


def test_a_recording_is_scanned_as_a_whole_before_it_is_kept(phone, tmp_path):
    """What the scanner finds is not kept; what it cannot look at waits for it."""
    phone.begin()
    with scanned_by(str(tmp_path / "nobody")):
        answer = phone.piece(0)
        assert (answer.status_code, answer["Retry-After"]) == (503, "60")
        assert "virus scanner does not answer" in words(answer)
        tidy(timestamp=0)
    assert phone.head()["Upload-Complete"] == "?0"
    with scanner(tmp_path):
        assert phone.piece(5000, 5000)["Upload-Complete"] == "?1"
        assert kept() == phone.content
        other = Uploader(client=phone.client, visit=phone.visit)
        other.content = phone.content[:40] + MARK + phone.content[40:]
        other.begin()
        other.piece(0, 60)  # neither piece has it all
        answer = other.piece(60)
    assert answer.status_code == 422
    assert f"found “{FOUND}”" in words(answer)
    assert other.head()["Upload-Offset"] == "0"
    assert RecordingPiece.objects.count() == 0


class TestAccess:
    """A recording is its observer's to send and to take back."""

    @pytest.fixture(autouse=True)
    def _begun(self, phone):
        phone.begin()
        phone.piece(0, 2000)

    def assert_hidden(self, other: Uploader, status: int = 404):
        answers = [other.begin(), other.head(), other.piece(2000), other.delete()]
        assert {answer.status_code for answer in answers} == {status}
        stored = Recording.objects.get()
        assert (stored.received, stored.state) == (2000, "arriving")

    def test_another_observer(self, phone, program, client_for):
        phone.client = client_for(make_member(program, Role.OBSERVER))
        self.assert_hidden(phone)

    def test_coordinator(self, phone, coordinator, client_for):
        phone.client = client_for(coordinator)
        self.assert_hidden(phone)

    def test_partner(self, phone, partner, client_for):
        phone.client = client_for(partner)
        self.assert_hidden(phone, 403)

    def test_another_program(self, phone, client_for):
        phone.client = client_for(make_member(make_program(), Role.OBSERVER))
        self.assert_hidden(phone)

    def test_own_visit_under_another_programs_url(self, phone, observer):
        elsewhere = make_member(make_program(), Role.OBSERVER, person=observer.person)
        home = f"/api/v1/{elsewhere.program.slug}/recordings/"
        assert phone.send("HEAD", f"{home}{phone.id}/", {}).status_code == 404

    def test_recording_of_another_visit_under_an_existing_id(self, phone, program, client_for):
        other = make_member(program, Role.OBSERVER)
        own_visit = make_draft(other, make_route(program))
        thief = Uploader(client=client_for(other), visit=own_visit, id=phone.id)
        assert thief.begin().status_code == 404

    def test_signed_out(self, phone):
        phone.client = Client()
        self.assert_hidden(phone, 401)

    def test_csrf(self, phone, observer):
        strict = Client(enforce_csrf_checks=True)
        strict.force_login(observer.person)
        phone.client = strict
        assert phone.piece(2000).status_code == 403
        token = strict.get(f"/{observer.program.slug}/survey/hello.json").json()["csrf"]
        assert phone.piece(2000, headers={"X-CSRFToken": token}).status_code == 204


@pytest.mark.parametrize("state", [VisitState.SUBMITTED, VisitState.ACCEPTED])
def test_recording_may_arrive_after_submission(client_for, observer, program, state):
    """A complete recording of a visit that is handed in stays."""
    visit = make_submitted(observer, make_route(program))
    visit.state = state
    visit.save()
    phone = Uploader(client=client_for(observer), visit=visit)
    assert phone.whole().status_code == 204
    response = phone.delete()
    assert response.status_code == 409
    assert Recording.objects.count() == 1


def test_discarding_a_draft_deletes_its_recordings(
    phone, observer, visit, django_capture_on_commit_callbacks
):
    phone.whole()
    other = Uploader(client=phone.client, visit=visit, content=sound(seed=2))
    other.begin()
    other.piece(0, 2000)
    draft_recordings = {
        Recording.objects.get(pk=phone.id).audio.name,
        RecordingPiece.objects.get().content.name,
    }
    assert draft_recordings <= set(stored_files())
    with django_capture_on_commit_callbacks(execute=True):
        discard_draft(observer, visit.pk)
    assert not draft_recordings & set(stored_files())
    assert not Recording.objects.exists()
    assert {phone.head().status_code, phone.begin().status_code} == {404}


def test_pieces_are_deleted_after_assembly(phone, django_capture_on_commit_callbacks):
    phone.begin()
    phone.piece(0, 2000)
    piece = RecordingPiece.objects.get().content.name
    with django_capture_on_commit_callbacks(execute=True):
        phone.piece(2000)
    assert piece not in stored_files()
    assert Recording.objects.get().audio.name in stored_files()


def test_assembling_twice_changes_nothing(phone):
    phone.whole()
    name = Recording.objects.get().audio.name
    verbs.assemble_recording(phone.id)
    verbs.assemble_recording(uuid.uuid4())
    assert Recording.objects.get().audio.name == name


def test_damaged_recording_raises(phone):
    phone.begin(sha256="0" * 64)
    phone.piece(0, 2000)
    Recording.objects.update(bytes=2000)
    with pytest.raises(RecordingDamaged, match="from the start"):
        verbs.assemble_recording(phone.id)
