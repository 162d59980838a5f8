"""The headers of the tus resumable upload protocol 1.0.0, 2016-03-25, sections Headers,
Creation and Checksum (protocol.md of github.com/tus/tus-resumable-upload-protocol)."""

import base64
import datetime as dt
import hashlib
import uuid

import pytest

from surveys.api.tus import (
    MAX_METADATA_LENGTH,
    HeaderError,
    read_announcement,
    read_checksum,
    read_count,
    read_metadata,
)
from tests.support.sounds import metadata

ID, VISIT = uuid.UUID(int=1), uuid.UUID(int=2)
REQUIRED_METADATA = {
    "id": ID,
    "visit": VISIT,
    "kind": "voucher",
    "filetype": "audio/webm",
    "seconds": "2.5",
}


def test_the_example_of_the_standard():
    """tus 1.0.0, Creation, Example."""
    header = "filename d29ybGRfZG9taW5hdGlvbl9wbGFuLnBkZg==,is_confidential"
    assert read_metadata(header) == {
        "filename": "world_domination_plan.pdf",
        "is_confidential": "",
    }


def test_the_checksum_of_the_standard():
    """tus 1.0.0, Checksum, Example: `hello world`."""
    algorithm, digest = read_checksum("sha1 Kq5sNclPz7QV2+lfQIuc6R7oRu0=")
    assert digest == hashlib.new(algorithm, b"hello world").digest()


def test_no_checksum():
    assert read_checksum(" ") is None


@pytest.mark.parametrize(
    ("header", "words"),
    [
        ("crc32 AAAA", "crc32"),
        ("sha256", "length of a sha256"),
        ("sha256 ****", "not Base64"),
        ("sha256 " + base64.b64encode(b"short").decode(), "length of a sha256"),
        ("sha1 " + base64.b64encode(bytes(32)).decode(), "length of a sha1"),
    ],
)
def test_unreadable_checksums(header, words):
    with pytest.raises(HeaderError, match=words):
        read_checksum(header)


@pytest.mark.parametrize(
    ("header", "words"),
    [
        ("a YQ==,a YQ==", "twice"),
        ("a YQ==,,b YQ==", "empty"),
        ("ä YQ==", "strange letter"),
        ("a Y", "not Base64"),
        ("a Y Q==", "not Base64"),
        ("a /w==", "not text in UTF-8"),
        ("a YQ==\r\nSet-Cookie: x", "not Base64"),
        ("a " + "A" * MAX_METADATA_LENGTH, "has room for"),
    ],
)
def test_unreadable_metadata(header, words):
    with pytest.raises(HeaderError, match=words):
        read_metadata(header)


@pytest.mark.parametrize("text", ["", "-1", "1.5", "+1", "0x10", "١", "1" * 16, "1 2"])
def test_unreadable_counts(text):
    with pytest.raises(HeaderError, match="Upload-Offset"):
        read_count({"Upload-Offset": text}, "Upload-Offset")


def test_an_announcement():
    header = metadata(**REQUIRED_METADATA, sha256="0" * 64, stop=3, species="pseudacris-crucifer")
    announced = read_announcement({"Upload-Length": "10", "Upload-Metadata": header})
    assert (announced.id, announced.visit, announced.stop) == (ID, VISIT, 3)
    assert (announced.bytes, announced.seconds) == (10, 2.5)
    assert announced.species == "pseudacris-crucifer"
    assert announced.recorded_at is None
    assert announced.metadata == header


def test_when_it_was_recorded():
    for text, instant in (
        ("2024-04-16T01:30:15.697Z", dt.datetime(2024, 4, 16, 1, 30, 15, 697_000, dt.UTC)),
        ("2024-04-15T20:30:00-05:00", dt.datetime(2024, 4, 16, 1, 30, tzinfo=dt.UTC)),
        ("2024-04-15T20:30:00", None),
    ):
        headers = {
            "Upload-Length": "1",
            "Upload-Metadata": metadata(**REQUIRED_METADATA, recorded=text),
        }
        assert read_announcement(headers).recorded_at == instant


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"id": "7"}, "“id”"),
        ({"visit": ""}, "“visit”"),
        ({"seconds": "long"}, "“seconds”"),
        ({"stop": "third"}, "“stop”"),
        ({"stop": "-1"}, "“stop”"),
        ({"recorded": "at dusk"}, "“recorded”"),
    ],
)
def test_incomplete_announcements(change, words):
    headers = {
        "Upload-Length": "10",
        "Upload-Metadata": metadata(**{**REQUIRED_METADATA, **change}),
    }
    with pytest.raises(HeaderError, match=words):
        read_announcement(headers)


def test_length_is_required():
    """tus 1.0.0, Creation: deferring the length is an extension, which is not offered."""
    with pytest.raises(HeaderError, match="Upload-Length"):
        read_announcement(
            {"Upload-Defer-Length": "1", "Upload-Metadata": metadata(**REQUIRED_METADATA)}
        )
