"""One recording, listened to closely: parts of it are measured by their limits."""

import pytest

from accounts.models import Role
from surveys import bounded
from surveys.models import PictureProblem, RecordingPicture
from surveys.sound import bands, measures
from surveys.sound.waves import RATE_HZ
from surveys.visits.media.pictures import make_picture
from surveys.web.recordings import listen_views
from surveys.web.recordings.forms import HIGHEST_HZ, LONGEST_S, LOWEST_HZ, SHORTEST_S
from tests.support.builders import make_checklist, make_member, make_route
from tests.support.callers import Caller, sung
from tests.support.encoded import encoded
from tests.support.sheets import make_submitted
from tests.support.sounds import PNG, keep, make_stored_picture

pytestmark = pytest.mark.django_db
SECONDS = 30.0
CALLERS = [Caller(pitch_hz=2950, note_s=0.2), Caller(pitch_hz=900, pulse_rate=25)]
WHOLE = {"begin_s": "5", "end_s": "15", "low_hz": "150", "high_hz": "8000"}


@pytest.fixture(scope="module")
def sound():
    return encoded("FLAC", sung(CALLERS, snr_db=15, seconds=SECONDS))


@pytest.fixture
def recording(program, observer, sound):
    make_checklist(program)
    content, media_type = sound
    visit = make_submitted(observer, make_route(program))
    return keep(observer, visit, content, stop=2, media_type=media_type)


@pytest.fixture
def page(client_for, coordinator, recording):
    def get(part=None, member=coordinator, **headers):
        address = f"/{coordinator.program.slug}/recordings/{recording.pk}/listen"
        return client_for(member).get(address, part or {}, headers=headers)

    return get


def test_a_part_is_measured_in_its_pitches(page, recording):
    make_picture(recording.pk)
    assert "Measured from 0 to 20 seconds" in page().content.decode()
    low = page(WHOLE | {"high_hz": "1500"}).content.decode()
    assert "Measured from 5 to 15 seconds" in low
    assert "About 900 Hz" in low
    assert "2,950 Hz" not in low
    assert "About 2,950 Hz" in page(WHOLE | {"low_hz": "2000"}).content.decode()
    empty = page(WHOLE | {"low_hz": "5000", "high_hz": "7000"}).content.decode()
    assert "Nothing stands out enough to be measured." in empty


def test_htmx_gets_the_measures_alone(page, recording):
    make_picture(recording.pk)
    answer = page(WHOLE, **{"HX-Request": "true"}).content.decode()
    assert answer.lstrip().startswith('<div id="measured"')
    assert "About 900 Hz" in answer


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ({"begin_s": "ten"}, "From: This is not a number."),
        ({"end_s": ""}, "To: This is missing."),
        ({"begin_s": "30"}, "From: The recording ends before this."),
        ({"end_s": "5.05"}, "To: Choose at least 0.1 seconds after the beginning."),
        ({"begin_s": "1", "end_s": "22"}, "To: At most 20 seconds are measured at once."),
        ({"low_hz": "149"}, "Lowest pitch: This is too low."),
        ({"high_hz": "9000"}, "Highest pitch: This is too high."),
        ({"low_hz": "900", "high_hz": "950"}, "Highest pitch: Choose at least 100 Hz above"),
        ({"begin_s": "nan"}, "From: This is not a number."),
    ],
)
def test_limits_that_make_no_part(page, recording, wrong, sentence):
    make_stored_picture(recording, seconds=SECONDS)
    answer = page(WHOLE | wrong)
    assert answer.status_code == 422
    assert sentence in answer.content.decode()
    assert f'value="{(WHOLE | wrong)["low_hz"]}"' in answer.content.decode(), "what was typed stays"


def test_it_shows_how_loud_the_sound_is_over_time(page, recording, client_for, coordinator):
    picture = make_stored_picture(recording, seconds=SECONDS)
    address = f"/{coordinator.program.slug}/recordings/{recording.pk}/waveform"
    assert f'src="{address}"' in page({}).content.decode()
    shown = client_for(coordinator).get(address)
    assert (shown["Content-Type"], b"".join(shown.streaming_content)) == ("image/png", PNG)
    picture.waveform = ""
    picture.save()
    assert "waveform" not in page({}).content.decode()
    assert client_for(coordinator).get(address).status_code == 404


def test_the_form_has_the_limits_of_what_measures():
    assert (SHORTEST_S, LONGEST_S) == (measures.SHORTEST_S, measures.LONGEST_S)
    assert (LOWEST_HZ, HIGHEST_HZ) == (bands.LOWEST_HZ, RATE_HZ / 2)


def test_without_a_picture_there_is_the_player(page, recording):
    answer = page(WHOLE).content.decode()
    assert "<audio" in answer
    assert "is not ready yet" in answer
    RecordingPicture.objects.create(
        recording=recording, problem=PictureProblem.UNREADABLE, seconds=0, bytes=0
    )
    answer = page(WHOLE).content.decode()
    assert str(PictureProblem.UNREADABLE.label) in answer
    assert "Measure a part" not in answer


@pytest.mark.parametrize(
    ("error", "sentence"),
    [
        (bounded.OverLimitError(), "Try a shorter one."),
        (bounded.BrokenError(), "Try a shorter one."),
        (bounded.BusyError(), "Too many files are being read right now."),
    ],
)
def test_what_cannot_be_measured_is_said(page, recording, monkeypatch, error, sentence):
    make_stored_picture(recording)

    def fails(*_, **__):
        raise error

    monkeypatch.setattr(listen_views, "measured_part", fails)
    answer = page(WHOLE)
    assert answer.status_code == 200
    assert sentence in answer.content.decode()


def test_it_is_for_those_who_may_hear(page, program, observer, partner):
    assert page(member=observer).status_code == 200
    assert page(member=make_member(program, Role.OBSERVER)).status_code == 404
    assert page(member=partner).status_code == 403
