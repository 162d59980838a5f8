"""What counts as a sound file."""

import pytest

from surveys.visits.media.audio_formats import (
    MEDIA_TYPES,
    SIGNATURE_BYTES,
    file_extension,
    has_signature_of,
    media_type_of,
    megabytes,
)
from tests.support.sounds import wave_file


@pytest.mark.parametrize(
    ("typed", "plain"),
    [
        ("audio/webm;codecs=opus", "audio/webm"),
        ("Audio/WebM; codecs=opus", "audio/webm"),
        ("audio/x-wav", "audio/wav"),
        ("audio/x-m4a", "audio/mp4"),
        ("audio/mp4", "audio/mp4"),
        ("video/webm", None),
        ("text/html", None),
        ("", None),
    ],
)
def test_media_types(typed, plain):
    assert media_type_of(typed) == plain


# First bytes as the formats' own documents give them.
HEADS = {
    "audio/webm": bytes.fromhex("1a45dfa3") + b"\x9f\x42\x86\x81\x01",  # RFC 8794, 11.2.1
    "audio/ogg": b"OggS\x00\x02" + bytes(10),  # RFC 3533, section 6
    "audio/mp4": b"\x00\x00\x00\x20ftypiso5" + bytes(4),  # ISO/IEC 14496-12, 4.3 (from memory)
    "audio/wav": b"RIFF\x24\x08\x00\x00WAVEfmt ",  # RIFF (from memory)
    "audio/flac": b"fLaC\x00\x00\x00\x22" + bytes(8),  # RFC 9639, section 8.1 (from memory)
    "audio/mpeg": b"ID3\x04\x00\x00" + bytes(10),  # id3.org, ID3v2.4.0, 3.1 (from memory)
}


@pytest.mark.parametrize("media_type", MEDIA_TYPES)
def test_each_type_matches_its_own_signature_only(media_type):
    alike = [
        name for name, head in HEADS.items() if has_signature_of(media_type, head[:SIGNATURE_BYTES])
    ]
    assert alike == [media_type]


def test_a_wave_file_that_the_standard_library_wrote():
    assert has_signature_of("audio/wav", wave_file()[:SIGNATURE_BYTES])


@pytest.mark.parametrize("head", [b"", b"\xff", b"<html>", b"\x00" * SIGNATURE_BYTES])
def test_not_audio(head):
    assert not any(has_signature_of(media_type, head) for media_type in MEDIA_TYPES)


def test_mpeg_frames_without_a_tag():
    assert has_signature_of("audio/mpeg", b"\xff\xfb\x90\x64" + bytes(12))


def test_words():
    assert megabytes(1536 * 1024) == "1.5 MB"
    assert {file_extension(media_type) for media_type in MEDIA_TYPES} == {
        "webm",
        "ogg",
        "m4a",
        "wav",
        "flac",
        "mp3",
    }
