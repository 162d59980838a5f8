"""A recording that has arrived gets its picture, whatever is in it and whatever happens to the
worker."""

import datetime as dt
import json
import resource

import numpy as np
import pytest
from django.core.files.storage import default_storage
from procrastinate.contrib.django.models import ProcrastinateJob

from surveys import bounded, scanning
from surveys.models import PictureProblem, Recording, RecordingPicture, StorageUse
from surveys.sound.waves import RATE_HZ, Wave
from surveys.visits.media import pictures
from surveys.visits.media.files import sweep_files
from surveys.visits.media.picture_queue import TASK
from surveys.visits.media.pictures import make_picture, measured_part
from surveys.visits.media.recordings import remove_recording
from surveys.visits.picturing import old_pictures
from tests.support.builders import make_route
from tests.support.callers import Caller, sung
from tests.support.encoded import as_recorded, encoded, length_told
from tests.support.runs import forget_jobs, take_up
from tests.support.sheets import make_draft
from tests.support.sounds import keep, sound

pytestmark = pytest.mark.django_db

TRILL = sung([Caller(pitch_hz=2700, pulse_rate=30)], snr_db=20, seconds=4)
LIVE, _ = as_recorded("Opus in WebM", TRILL)


@pytest.fixture
def visit(program, observer):
    return make_draft(observer, make_route(program))


def stored(member) -> int:
    return StorageUse.objects.get(program=member.program, person=member.person).bytes


def jobs():
    return ProcrastinateJob.objects.filter(task_name=TASK)


def test_a_recording_of_a_browser(observer, visit, django_capture_on_commit_callbacks):
    """Picture, measures and a copy to jump in; counted with its recording, and deleted with it."""
    recording = keep(observer, visit, LIVE)
    assert [job.args for job in jobs()] == [{"recording_id": str(recording.pk)}]
    picture = make_picture(recording.pk)
    assert picture.problem == ""
    assert (round(picture.seconds, 1), picture.cut) == (4, False)
    (band, *_) = picture.measures["bands"]
    assert band["pitch_hz"] == pytest.approx(2700, rel=0.02)
    assert band["pulse_rate"] == pytest.approx(30, rel=0.01)
    with picture.seekable.open("rb") as copy:
        assert length_told(copy.read()) == pytest.approx(4, abs=0.1)
    with picture.image.open("rb") as image:
        assert image.read(8) == b"\x89PNG\r\n\x1a\n"
    files = [picture.image, picture.waveform, picture.seekable]
    assert stored(observer) == len(LIVE) + sum(file.size for file in files)
    recording.refresh_from_db()
    with recording.audio.open("rb") as audio:
        assert audio.read() == LIVE, "what was sent stays as it was"
    with django_capture_on_commit_callbacks(execute=True):
        remove_recording(observer, recording.pk)
    assert not any(default_storage.exists(file.name) for file in files)
    assert stored(observer) == 0


def test_the_sweep_leaves_its_files(observer, visit):
    picture = make_picture(keep(observer, visit, LIVE).pk)
    later = picture.made_at + dt.timedelta(days=3)
    sweep_files(now=later)
    assert default_storage.exists(picture.image.name)
    assert default_storage.exists(picture.seekable.name)


def test_no_copy_of_a_file_that_needs_none(observer, visit):
    content, media_type = encoded("FLAC", TRILL)
    picture = make_picture(keep(observer, visit, content, media_type=media_type).pk)
    assert picture.seekable.name == ""
    assert picture.image


def test_a_file_that_cannot_be_read_says_so(observer, visit):
    recording = keep(observer, visit, sound())
    picture = make_picture(recording.pk)
    assert picture.problem == PictureProblem.UNREADABLE
    assert (picture.image.name, picture.measures, picture.bytes) == ("", None, 0)
    assert make_picture(recording.pk) is None, "it is not tried for ever"


def test_a_file_over_the_limits_says_so(observer, visit, monkeypatch):
    little = bounded.Limits(seconds=0.05, cpu_seconds=5, memory_bytes=500 * 1024**2)
    monkeypatch.setattr(pictures, "LIMITS", little)
    picture = make_picture(keep(observer, visit, LIVE).pk)
    assert picture.problem == PictureProblem.OVER_LIMIT


def test_while_the_scanner_is_away_nothing_is_said_of_the_file(observer, visit, monkeypatch):
    recording = keep(observer, visit, LIVE)

    def away(file):
        raise scanning.ScannerAwayError("away")

    monkeypatch.setattr(scanning, "check", away)
    with pytest.raises(bounded.RefusedError):
        make_picture(recording.pk)
    assert not RecordingPicture.objects.exists()


def test_a_job_whose_worker_was_killed_is_taken_up(observer, visit):
    recording = keep(observer, visit, LIVE)
    jobs().update(status="doing")
    take_up()
    assert [job.status for job in jobs()] == ["todo"]
    make_picture(recording.pk)
    assert make_picture(recording.pk) is None
    assert RecordingPicture.objects.count() == 1


def test_old_recordings_are_done_some_each_night(observer, visit, monkeypatch):
    monkeypatch.setattr(pictures, "OLD_ONES_A_NIGHT", 2)
    old = [keep(observer, visit, sound(seed=seed)) for seed in range(3)]
    arriving = keep(observer, visit, sound(seed=9))
    Recording.objects.filter(pk=arriving.pk).update(
        state="arriving", received=10, completed_at=None
    )
    forget_jobs()
    for nights in (2, 1, 0):
        old_pictures.func(timestamp=0)
        asked = [job.args["recording_id"] for job in jobs()]
        assert len(asked) == nights
        for pk in asked:
            make_picture(pk)
        forget_jobs()
    assert {one.recording_id for one in RecordingPicture.objects.all()} == {one.pk for one in old}


def test_a_part_is_measured(observer, visit):
    recording = keep(observer, visit, LIVE)
    told = measured_part(recording, begin_s=1, end_s=3, low_hz=2000, high_hz=3500)
    assert (told["begin_s"], told["end_s"]) == (1, 3)
    assert told["bands"][0]["pitch_hz"] == pytest.approx(2700, rel=0.02)
    empty = measured_part(recording, begin_s=1, end_s=3, low_hz=5000, high_hz=7000)
    assert empty["bands"] == []
    assert json.loads(json.dumps(told)) == told


@pytest.mark.slow
def test_the_longest_files_keep_within_the_limits(observer, visit):
    """Forty megabytes of WAV, and half an hour of silence in 2 MB of FLAC."""
    for name, seconds in (("WAV", 430), ("FLAC", 1800)):
        wave = Wave(samples=np.zeros(seconds * RATE_HZ, np.float32))
        content, media_type = encoded(name, wave)
        before = resource.getrusage(resource.RUSAGE_CHILDREN).ru_utime
        picture = make_picture(keep(observer, visit, content, media_type=media_type).pk)
        spent = resource.getrusage(resource.RUSAGE_CHILDREN).ru_utime - before
        assert picture.problem == ""
        assert (picture.seconds, picture.cut) == (min(seconds, 600), seconds > 600)
        assert spent < 5
