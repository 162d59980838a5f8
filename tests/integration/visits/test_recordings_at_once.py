"""Two tabs send the same recording at the same moment: real transactions, one row."""

import io

import pytest
from django.db import transaction

from surveys.models import (
    Recording,
    RecordingPiece,
)
from surveys.visits.drafts import discard_draft
from surveys.visits.exceptions import (
    OffsetMismatch,
    RecordingRefused,
)
from surveys.visits.media.recordings import (
    add_piece,
    assemble_recording,
    begin_recording,
    remove_recording,
)
from tests.integration.visits.test_at_once import at_once
from tests.support.builders import make_route
from tests.support.sheets import make_draft
from tests.support.sounds import (
    announced,
    sound,
)

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def visit(program, observer):
    return make_draft(observer, make_route(program))


@pytest.fixture
def content():
    return sound()


@pytest.fixture
def recording(observer, visit, content):
    return begin_recording(observer, announced(visit, content))


def sending(member, recording, piece, offset):
    return lambda: add_piece(
        member, recording.pk, offset=offset, content=io.BytesIO(piece), length=len(piece)
    )


def test_the_same_piece_from_two_tabs(observer, recording, content):
    send = sending(observer, recording, content[:3000], 0)
    results = at_once(None, send, send, send)
    kept = [result for result in results if isinstance(result, Recording)]
    late = [result for result in results if isinstance(result, OffsetMismatch)]
    assert (len(kept), len(late)) == (1, 2)
    assert {error.received for error in late} == {3000}
    assert RecordingPiece.objects.count() == 1
    rest = content[3000:]
    add_piece(observer, recording.pk, offset=3000, content=io.BytesIO(rest), length=len(rest))
    at_once(
        None, lambda: assemble_recording(recording.pk), lambda: assemble_recording(recording.pk)
    )
    recording.refresh_from_db()
    assert recording.state == "complete"
    with recording.audio.open("rb") as file:
        assert file.read() == content


def test_pieces_of_different_lengths(observer, recording, content):
    """Two tabs that cut the recording differently."""
    at_once(
        None,
        sending(observer, recording, content[:1000], 0),
        sending(observer, recording, content[:2500], 0),
    )
    recording.refresh_from_db()
    rest = content[recording.received :]
    add_piece(
        observer,
        recording.pk,
        offset=recording.received,
        content=io.BytesIO(rest),
        length=len(rest),
    )
    assemble_recording(recording.pk)
    recording.refresh_from_db()
    with recording.audio.open("rb") as file:
        assert file.read() == content


def test_announced_twice_at_once(observer, visit, content):
    announcement = announced(visit, content)
    results = at_once(
        visit,
        lambda: begin_recording(observer, announcement),
        lambda: begin_recording(observer, announcement),
    )
    assert {result.pk for result in results} == {announcement.id}
    assert Recording.objects.count() == 1


def test_quota_holds_for_two_tabs_at_once(observer, visit, monkeypatch):
    monkeypatch.setattr("surveys.visits.media.recordings.MAX_RECORDINGS", 1)
    results = at_once(
        visit,
        lambda: begin_recording(observer, announced(visit, sound(seed=1))),
        lambda: begin_recording(observer, announced(visit, sound(seed=2))),
    )
    assert sorted(type(result) for result in results if isinstance(result, Exception)) == [
        RecordingRefused
    ]
    assert Recording.objects.count() == 1


@pytest.mark.parametrize("how", ["discarded", "removed"])
def test_piece_during_deletion(observer, visit, recording, content, how):
    """Whichever comes first: no piece is left without its recording, and no row waits for ever."""
    go = {
        "discarded": lambda: discard_draft(observer, visit.pk),
        "removed": lambda: remove_recording(observer, recording.pk),
    }[how]

    def send():
        try:
            return sending(observer, recording, content[:3000], 0)()
        except Exception as error:  # noqa: BLE001 - looked at below
            return error

    _, sent = at_once(None, go, send)
    assert not Recording.objects.exists()
    assert not RecordingPiece.objects.exists()
    assert isinstance(sent, Recording) or "no such recording" in str(sent)


def test_uploads_do_not_block_saving_data(observer, visit, recording, content):
    """While a piece is being written, the visit's row is free."""
    with transaction.atomic():
        sending(observer, recording, content[:3000], 0)()
        (result,) = at_once(None, lambda: make_free(visit))
    assert result == "free"


def make_free(visit):
    with transaction.atomic():
        type(visit).objects.select_for_update(nowait=True).get(pk=visit.pk)
    return "free"
