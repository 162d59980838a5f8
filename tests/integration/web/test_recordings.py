"""Listening: who hears what, in which parts (RFC 9110), and sound files on the paper sheet."""

import datetime as dt

import pytest
from django.core.files.base import ContentFile
from django.core.files.uploadedfile import SimpleUploadedFile

from accounts.models import Role
from surveys.models import Recording
from surveys.web.recordings.words import time_labels
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
    PNG,
    keep,
    make_stored_picture,
    sound,
    wave_file,
)

pytestmark = pytest.mark.django_db
SOUND = sound(10_000)


@pytest.fixture
def visit(program, observer):
    make_checklist(program)
    return make_submitted(observer, make_route(program))


@pytest.fixture
def recording(observer, visit):
    at = dt.datetime(2024, 4, 16, 2, 14, tzinfo=dt.UTC)
    return keep(observer, visit, SOUND, stop=2, species="pseudacris-crucifer", recorded_at=at)


@pytest.fixture
def listen(client_for, observer, recording):
    def get(member=observer, method="get", query="", **headers):
        url = f"/{observer.program.slug}/recordings/{recording.pk}{query}"
        return getattr(client_for(member), method)(url, headers=headers)

    return get


def body(response):
    return b"".join(response.streaming_content)


def test_whole(listen):
    response = listen()
    assert (response.status_code, response["Content-Type"]) == (200, "audio/webm")
    assert body(response) == SOUND
    assert response["Accept-Ranges"] == "bytes"
    assert response["Content-Length"] == "10000"
    assert response["Cache-Control"] == "private, no-store"
    assert response["X-Content-Type-Options"] == "nosniff"
    assert response["Content-Disposition"].startswith("inline")


def test_download(listen):
    assert listen(query="?download")["Content-Disposition"].startswith("attachment; filename=")


def test_single_range(listen):
    """RFC 9110, 15.3.7."""
    response = listen(Range="bytes=500-999")
    assert response.status_code == 206
    assert response["Content-Range"] == "bytes 500-999/10000"
    assert response["Content-Length"] == "500"
    assert body(response) == SOUND[500:1000]


def test_ranges_add_up_to_the_whole(listen):
    parts = [body(listen(Range=f"bytes={n}-{n + 2999}")) for n in range(0, 10_000, 3000)]
    assert b"".join(parts) == SOUND


def test_range_past_the_end(listen):
    """RFC 9110, 15.5.17."""
    response = listen(Range="bytes=10000-")
    assert (response.status_code, response["Content-Range"]) == (416, "bytes */10000")


@pytest.mark.parametrize(
    ("which", "status"), [("same", 206), ("other", 200), ("weak", 200), ("date", 200)]
)
def test_if_range(listen, recording, which, status):
    """RFC 9110, 13.1.5: by strong comparison; otherwise the whole answers."""
    validators = {
        "same": f'"{recording.sha256}"',
        "other": '"other"',
        "weak": f'W/"{recording.sha256}"',
        "date": "Mon, 15 Apr 2024 20:00:00 GMT",
    }
    response = listen(Range="bytes=0-9", **{"If-Range": validators[which]})
    assert response.status_code == status
    assert len(body(response)) == (10 if status == 206 else 10_000)


def test_not_modified(listen):
    """RFC 9110, 13.2.2: If-None-Match is looked at before the range; 15.4.5: with the ETag."""
    etag = listen()["ETag"]
    for headers in ({}, {"Range": "bytes=0-9"}, {"Range": "bytes=99999-"}):
        response = listen(**{"If-None-Match": etag, **headers})
        assert (response.status_code, response["ETag"]) == (304, etag)
    assert listen(**{"If-Match": '"other"', "Range": "bytes=0-9"}).status_code == 412


def test_head(listen):
    """RFC 9110, 14.2: a range means nothing but with GET."""
    response = listen(method="head", Range="bytes=0-9")
    assert (response.status_code, response["Content-Length"]) == (200, "10000")
    assert not b"".join(response.streaming_content)


class TestAccess:
    """A voice says who somebody is."""

    def test_coordinator(self, listen, coordinator):
        assert listen(coordinator).status_code == 200

    def test_other_observers_may_not_listen_even_after_submission(self, listen, program):
        assert listen(make_member(program, Role.OBSERVER)).status_code == 404

    def test_partner(self, listen, partner):
        assert listen(partner).status_code == 403

    def test_coordinator_of_another_program(self, recording, client_for):
        other = make_member(make_program(), Role.COORDINATOR)
        for slug, status in (
            (recording.visit.route.program.slug, 404),
            (other.program.slug, 404),
        ):
            response = client_for(other).get(f"/{slug}/recordings/{recording.pk}")
            assert response.status_code == status

    def test_not_before_it_is_complete(self, listen, recording):
        Recording.objects.update(state="arriving", received=10, completed_at=None)
        assert listen().status_code == 404


def test_pages_show_them(client_for, observer, coordinator, program, visit, recording):
    audio = f'src="/{program.slug}/recordings/{recording.pk}"'
    observers_page = (
        client_for(observer).get(f"/{program.slug}/visits/{visit.pk}/").content.decode()
    )
    review = client_for(coordinator).get(f"/{program.slug}/review/{visit.pk}/").content.decode()
    for page in (observers_page, review):
        assert audio in page
        assert 'preload="none"' in page
        assert "Stop 2" in page
        assert "21:14, 2 s" in page
    other = make_member(program, Role.OBSERVER)
    theirs = client_for(other).get(f"/{program.slug}/visits/{visit.pk}/")
    assert theirs.status_code == 200
    assert audio not in theirs.content.decode()


def test_pages_show_the_picture_and_say_what_was_measured(
    client_for, observer, coordinator, program, visit, recording
):
    make_stored_picture(recording, cut=True)
    picture = f"/{program.slug}/recordings/{recording.pk}/picture"
    for member, page in ((observer, "visits"), (coordinator, "review")):
        text = client_for(member).get(f"/{program.slug}/{page}/{visit.pk}/").content.decode()
        assert f'src="{picture}"' in text
        for words in (
            "About 2,950 Hz, ± 2%; pulses not measurable; notes about 0.42 s, ± 20%",
            "Measured from 0:20 to 0:40",
            "0:45</span>",
            "The picture shows the first 10 minutes.",
        ):
            assert words in text
        shown = client_for(member).get(picture)
        assert (shown["Content-Type"], body(shown)) == ("image/png", PNG)
    for member, status in (
        (make_member(program, Role.OBSERVER), 404),
        (make_member(make_program(), Role.COORDINATOR), 404),
    ):
        assert client_for(member).get(picture).status_code == status


def test_a_page_says_why_there_is_no_picture(client_for, coordinator, program, visit, recording):
    make_stored_picture(recording, problem="unreadable", measures=None, seconds=0, bytes=0)
    text = client_for(coordinator).get(f"/{program.slug}/review/{visit.pk}/").content.decode()
    assert "No picture: the sound in this file could not be read. You can still" in text
    picture = f"/{program.slug}/recordings/{recording.pk}/picture"
    assert client_for(coordinator).get(picture).status_code == 404


def test_a_player_gets_the_copy_and_a_download_what_was_sent(listen, recording):
    picture = make_stored_picture(recording)
    sent = listen()["ETag"]
    picture.seekable.save(f"{recording.pk}.webm", ContentFile(b"a copy"))
    played = listen()
    assert body(played) == b"a copy"
    assert played["ETag"] != sent, "or a player joins parts of two files"
    assert body(listen(query="?download")) == SOUND


def test_csp_allows_the_phone_to_play_local_recordings(client_for, observer):
    policy = client_for(observer).get("/")["Content-Security-Policy"]
    assert "media-src 'self' blob:" in policy


class TestSheetRecordings:
    @pytest.fixture
    def draft(self, program, observer):
        make_checklist(program)
        return make_draft(observer, make_route(program))

    @pytest.fixture
    def post(self, client_for, observer, draft):
        def send(member=observer, **data):
            url = f"/{observer.program.slug}/sheets/{draft.pk}/recordings"
            return client_for(member).post(url, data, follow=True)

        return send

    def test_a_file_for_a_stop(self, post):
        upload = SimpleUploadedFile("call.mp3", wave_file())
        page = post(sound=upload, stop="3", kind="voucher", species="pseudacris-crucifer")
        assert "Recording saved." in page.content.decode()
        stored = Recording.objects.get()
        # What it is, its first bytes say, whatever its name.
        assert (stored.media_type, stored.stop.number, stored.state) == ("audio/wav", 3, "complete")
        with stored.audio.open("rb") as file:
            assert file.read() == wave_file()
        assert f"recordings/{stored.pk}" in page.content.decode()

    @pytest.mark.parametrize(
        ("data", "words"),
        [
            ({}, "Choose a sound file first."),
            ({"sound": b"<html>"}, "We cannot use this kind of sound file"),
            ({"sound": b""}, "We cannot use this kind of sound file|Choose"),
        ],
    )
    def test_refused(self, post, data, words):
        upload = {key: SimpleUploadedFile("a.wav", value) for key, value in data.items()}
        page = post(**upload, stop="1", kind="voucher").content.decode()
        assert any(word in page for word in words.split("|"))
        assert not Recording.objects.exists()

    def test_removed(self, post, draft, observer):
        recording = keep(observer, draft, SOUND)
        assert "Recording deleted." in post(remove=recording.pk).content.decode()
        assert not Recording.objects.exists()
        assert post(remove="7").status_code == 404

    def test_sheet_of_another_observer_is_refused(self, post, program):
        other = make_member(program, Role.OBSERVER)
        upload = SimpleUploadedFile("call.wav", wave_file())
        assert post(other, sound=upload, stop="1", kind="voucher").status_code == 404
        assert not Recording.objects.exists()


def test_times_stand_where_they_are_said_to_be():
    assert time_labels(6) == ["0.0 s", "1.5 s", "3.0 s", "4.5 s", "6.0 s"]
    assert time_labels(180) == ["0:00", "0:45", "1:30", "2:15", "3:00"]
