"""Sounds for tests, and a client that sends them as the tus protocol 1.0.0 says."""

import base64
import hashlib
import io
import math
import random
import struct
import uuid
import wave
from collections.abc import Mapping
from dataclasses import dataclass, field

from django.core.files.base import ContentFile
from django.http import HttpResponse
from django.test import Client

from accounts.models import Membership
from surveys.models import (
    Recording,
    RecordingPicture,
    ReferenceCall,
    Species,
    Visit,
)
from surveys.visits.blind.waiting import SAMPLE_DIGITS
from surveys.visits.media.files import storage_path
from surveys.visits.media.recordings import (
    RecordingAnnouncement,
    add_piece,
    assemble_recording,
    begin_recording,
)

WEBM = b"\x1a\x45\xdf\xa3"
PNG = b"\x89PNG\r\n\x1a\n"
PIECE = "application/offset+octet-stream"


def sound(size: int = 5000, *, seed: int = 1, begin: bytes = WEBM) -> bytes:
    """A WebM file as far as its first bytes say."""
    return (begin + random.Random(seed).randbytes(size))[:size]


def metadata(**texts: object) -> str:
    return ",".join(
        f"{key} {base64.b64encode(str(text).encode()).decode()}".rstrip()
        for key, text in texts.items()
    )


def checksum(piece: bytes, algorithm: str = "sha256") -> str:
    return f"{algorithm} {base64.b64encode(hashlib.new(algorithm, piece).digest()).decode()}"


@dataclass(kw_only=True)
class Uploader:
    """One signed-in phone and one recording of a visit."""

    client: Client
    visit: Visit
    content: bytes = field(default_factory=sound)
    id: uuid.UUID = field(default_factory=uuid.uuid4)

    @property
    def home(self) -> str:
        return f"/api/v1/{self.visit.route.program.slug}/recordings/"

    @property
    def place(self) -> str:
        return f"{self.home}{self.id}/"

    def said(self, **other: object) -> dict[str, object]:
        return {
            "id": self.id,
            "visit": self.visit.pk,
            "kind": "voucher",
            "filetype": "audio/webm;codecs=opus",
            "seconds": "2.5",
            "sha256": hashlib.sha256(self.content).hexdigest(),
            **other,
        }

    def send(
        self, method: str, url: str, headers: Mapping[str, str], body: bytes = b"", kind: str = ""
    ) -> HttpResponse:
        return self.client.generic(
            method,
            url,
            body,
            content_type=kind,
            headers={"Tus-Resumable": "1.0.0", **headers},
            # The test client leaves these out where there is no body.
            CONTENT_TYPE=kind,
            CONTENT_LENGTH=str(len(body)),
        )

    def begin(self, *, headers: Mapping[str, str] | None = None, **said: object) -> HttpResponse:
        about = {
            "Upload-Length": str(len(self.content)),
            "Upload-Metadata": metadata(**self.said(**said)),
        }
        return self.send("POST", self.home, {**about, **(headers or {})})

    def piece(
        self,
        first: int,
        last: int | None = None,
        *,
        headers: Mapping[str, str] | None = None,
        kind: str = PIECE,
    ) -> HttpResponse:
        """The bytes from `first` to before `last`."""
        body = self.content[first:last]
        about = {"Upload-Offset": str(first), "Upload-Checksum": checksum(body)}
        return self.send("PATCH", self.place, {**about, **(headers or {})}, body, kind)

    def head(self) -> HttpResponse:
        return self.send("HEAD", self.place, {})

    def delete(self) -> HttpResponse:
        return self.send("DELETE", self.place, {})

    def whole(self, **said: object) -> HttpResponse:
        assert self.begin(**said).status_code == 201
        return self.piece(0)


def announced(visit: Visit, content: bytes, **other: object) -> RecordingAnnouncement:
    return RecordingAnnouncement(
        **{
            "id": uuid.uuid4(),
            "visit": visit.pk,
            "kind": "voucher",
            "media_type": "audio/webm",
            "seconds": 2.5,
            "bytes": len(content),
            "sha256": hashlib.sha256(content).hexdigest(),
            **other,
        }
    )


def keep(member: Membership, visit: Visit, content: bytes, **other: object) -> Recording:
    """A recording that has arrived."""
    said = announced(visit, content, **other)
    begin_recording(member, said)
    add_piece(member, said.id, offset=0, content=io.BytesIO(content), length=len(content))
    assemble_recording(said.id)
    return Recording.objects.get(pk=said.id)


def drawn(sampled: bool) -> uuid.UUID:
    """An identifier in the random share, or outside of it."""
    while True:
        pk = uuid.uuid4()
        if (hashlib.md5(str(pk).encode()).hexdigest()[0] in SAMPLE_DIGITS) is sampled:
            return pk


def stored_band(**fields: object) -> dict[str, object]:
    """A whistle that rises, as measures of it are stored."""
    return {
        "low_hz": 2840.0,
        "high_hz": 3020.0,
        "pitch_hz": 2953.0,
        "pulse_rate": None,
        "note_s": 0.42,
        "several": False,
        "note_count": 12,
        "rise": 0.05,
        "note_spread": 0.1,
        "pitch_error": 0.02,
        "rate_error": 0.01,
        **fields,
    }


def make_stored_picture(recording: Recording, **fields: object) -> RecordingPicture:
    """As the worker leaves one, with one band that was measured."""
    measures = {"begin_s": 20.0, "end_s": 40.0, "bands": [stored_band()]}
    picture = RecordingPicture(
        **{"recording": recording, "seconds": 60.0, "bytes": 9, "measures": measures, **fields}
    )
    if not picture.problem:
        picture.image.save(storage_path(f"{recording.pk}.png"), ContentFile(PNG), save=False)
        name = storage_path(f"{recording.pk}.wave.png")
        picture.waveform.save(name, ContentFile(PNG), save=False)
    picture.save()
    return picture


def make_stored_reference(
    recording: Recording | None,
    species: Species,
    member: Membership,
    *,
    sound: bytes = b"\0\0\0\x18ftypM4A ",
    **fields: object,
) -> ReferenceCall:
    """A part of a recording, without the confirmation that it is played by."""
    reference = ReferenceCall(
        **{
            "program": member.program,
            "species": species,
            "recording": recording,
            "begin_s": 1.0,
            "end_s": 6.0,
            "seconds": 5.0,
            "bytes": 30,
            "measures": {"begin_s": 0.0, "end_s": 5.0, "bands": []},
            "consent": "by word of mouth at the workshop",
            "license": "CC-BY-4.0",
            "added_by": member.person,
            **fields,
        }
    )
    name = storage_path(str(reference.pk))
    reference.audio.save(f"{name}.m4a", ContentFile(sound), save=False)
    reference.image.save(f"{name}.png", ContentFile(PNG), save=False)
    reference.save()
    return reference


def wave_file(seconds: int = 1, *, rate: int = 8000, hertz: int = 440) -> bytes:
    """A tone as WAVE, which every browser plays."""
    samples = (int(9000 * math.sin(2 * math.pi * hertz * n / rate)) for n in range(rate))
    second = b"".join(struct.pack("<h", sample) for sample in samples)
    out = io.BytesIO()
    with wave.open(out, "wb") as made:
        made.setnchannels(1)
        made.setsampwidth(2)
        made.setframerate(rate)
        made.writeframes(second * seconds)
    return out.getvalue()
