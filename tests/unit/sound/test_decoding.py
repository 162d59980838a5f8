"""Every accepted kind of file is read, and what is broken or hostile is refused."""

import contextlib
from io import BytesIO

import numpy as np
import pytest
import soundfile

from surveys.sound.decoding import CONTAINERS, UnreadableError, decode
from surveys.sound.measures import measure
from surveys.sound.seekable import seekable_copy
from surveys.sound.waves import RATE_HZ, Wave
from surveys.visits.media import sound_work
from surveys.visits.media.audio_formats import MEDIA_TYPES
from surveys.visits.media.sound_messages import asked, made
from tests.support.callers import Caller, sung
from tests.support.encoded import (
    FORMATS,
    as_recorded,
    encoded,
    length_told,
    stopped_as_by_gstreamer,
    with_time_turned_back,
)
from tests.support.for_each import for_each
from tests.support.hostile_sounds import damaged_sounds

TRILL = Caller(pitch_hz=2700, pulse_rate=30)
WAVE = sung([TRILL], snr_db=20, seconds=4)


def test_every_accepted_type_is_read():
    assert set(CONTAINERS) == set(MEDIA_TYPES)


@for_each("name", FORMATS, str)
def test_ten_formats(name):
    """What comes out has the length, the pitch and the pulses that went in."""
    content, media_type = encoded(name, WAVE)
    wave = decode(content, media_type)
    # MPEG sound comes in frames of 24 to 64 ms and begins with silence.
    assert wave.seconds == pytest.approx(4, abs=0.13)
    (band, *_) = measure(wave).bands
    assert band.pitch_hz == pytest.approx(2700, rel=0.02)
    assert band.pulse_rate == pytest.approx(30, rel=0.01)


def test_two_channels_are_one_and_long_ones_are_cut():
    stereo = np.stack([np.full(8 * RATE_HZ, 0.5), np.full(8 * RATE_HZ, 0.1)], axis=1)
    file = BytesIO()
    soundfile.write(file, stereo, RATE_HZ, format="WAV", subtype="FLOAT")
    wave = decode(file.getvalue(), "audio/wav", most_s=2)
    assert (wave.seconds, wave.cut) == (2, True)
    assert wave.samples[RATE_HZ] == pytest.approx(0.3, abs=0.01)


def test_a_file_that_breaks_off_gives_what_is_there():
    content, media_type = encoded("WAV", WAVE)
    assert 1.9 < decode(content[: len(content) // 2], media_type).seconds < 2.1


def test_samples_are_finite_and_within_full_scale():
    odd = np.array([np.nan, np.inf, -np.inf, 1e30, 0.25] * 4000, np.float32)
    file = BytesIO()
    soundfile.write(file, odd, RATE_HZ, format="WAV", subtype="FLOAT")
    samples = decode(file.getvalue(), "audio/wav").samples
    assert np.abs(samples).max() <= 1
    assert np.isfinite(samples).all()


def _wav(channels: int, rate: int) -> bytes:
    file = BytesIO()
    soundfile.write(file, np.zeros((800, channels)), rate, format="WAV", subtype="PCM_16")
    return file.getvalue()


def _wav_of(subtype: str) -> bytes:
    file = BytesIO()
    soundfile.write(file, WAVE.samples[:8000], RATE_HZ, format="WAV", subtype=subtype)
    return file.getvalue()


REFUSED = {
    "nothing": (b"", "audio/wav"),
    "text": (b"<html>" * 100, "audio/mpeg"),
    "a head alone": (b"\x1a\x45\xdf\xa3" + bytes(5000), "audio/webm"),
    "of another type": (encoded("MP3", WAVE)[0], "audio/flac"),
    "six channels": (_wav(6, 16_000), "audio/wav"),
    "a rate of 4 kHz": (_wav(1, 4_000), "audio/wav"),
    "a rate of 400 kHz": (_wav(1, 400_000), "audio/wav"),
    "a codec that is not on the list": (_wav_of("MS_ADPCM"), "audio/wav"),
    "a list of other files": (b"ffconcat version 1.0\nfile /etc/passwd\n", "audio/mp4"),
    "a playlist": (b"#EXTM3U\n#EXTINF:1,\nfile:///etc/passwd\n", "audio/mpeg"),
}


@for_each("name", REFUSED, str)
def test_refused(name):
    with pytest.raises(UnreadableError):
        decode(*REFUSED[name])


@for_each("name", ("Opus in WebM", "AAC in MP4"), str)
def test_a_copy_that_can_be_searched(name):
    """The same packets, with a length: the samples stay as they are."""
    content, media_type = as_recorded(name, WAVE)
    copy = seekable_copy(content, media_type)
    assert length_told(copy) == pytest.approx(4, abs=0.1)
    assert seekable_copy(copy, media_type) is None
    assert (decode(copy, media_type).samples == decode(content, media_type).samples).all()


def test_a_fragment_that_is_announced_twice_is_read_once():
    """As WebKitGTK stops a recording: nothing of the last second is lost, and there is a copy."""
    whole, media_type = as_recorded("AAC in MP4", WAVE)
    stopped = stopped_as_by_gstreamer(whole)
    assert len(stopped) > len(whole)
    assert (decode(stopped, media_type).samples == decode(whole, media_type).samples).all()
    assert seekable_copy(stopped, media_type) == seekable_copy(whole, media_type)


def test_a_picture_without_a_copy():
    content, media_type = as_recorded("AAC in MP4", WAVE)
    turned = with_time_turned_back(content)
    with pytest.raises(UnreadableError):
        seekable_copy(turned, media_type)
    found = made(sound_work.picture(asked(media_type=media_type) + turned))
    assert (found.seekable, found.seconds) == (b"", pytest.approx(4, abs=0.1))


def test_webm_of_a_browser_has_no_length():
    assert length_told(as_recorded("Opus in WebM", WAVE)[0]) is None


@for_each("name", ("WAV", "FLAC", "Opus in Ogg", "MP3", "Opus in WebM"), str)
def test_no_copy_where_none_is_needed(name):
    assert seekable_copy(*encoded(name, WAVE)) is None


@pytest.mark.slow
def test_damaged_files_end_in_samples_or_in_a_refusal():
    """Files of every format with bytes drawn anew, cut out or doubled: nothing else is raised, and
    samples that come out are finite."""
    for damaged, media_type in damaged_sounds(WAVE, 220):
        for read in (decode, seekable_copy):
            with contextlib.suppress(UnreadableError):
                result = read(damaged, media_type)
                assert read is seekable_copy or np.isfinite(result.samples).all()


def test_no_copy_of_what_is_no_sound():
    for media_type in ("audio/webm", "audio/mp4"):
        with pytest.raises(UnreadableError):
            seekable_copy(bytes(3000), media_type)


def test_an_empty_part():
    assert Wave(samples=np.zeros(10, np.float32)).between(3, 4).seconds == 0
