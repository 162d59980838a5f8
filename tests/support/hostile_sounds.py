"""Sound files that are broken, or made to cost whoever reads them time or memory, and what reading
one costs."""

import json
import struct
import subprocess
import sys
from io import BytesIO
from pathlib import Path

import numpy as np
import soundfile

from surveys.sound.waves import Wave
from tests.support.encoded import FORMATS, encoded

ROOT = Path(__file__).parents[2]
# Somewhat longer than what is read of a recording.
LONG_S, LONG_HZ = 650, 192_000
# Reads one file after the other from standard input as the worker does, each in a process of its
# own, and tells what that process cost; of memory, the most that one had so far is known.
DRIVER = """
import json, resource, struct, sys, time
from surveys import bounded
from surveys.visits.media.pictures import LIMITS
from surveys.visits.media.sound_messages import WORK, asked

def spent():
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime

while head := sys.stdin.buffer.read(4):
    (size,) = struct.unpack("<I", head)
    what = json.loads(sys.stdin.buffer.read(size))
    content = sys.stdin.buffer.read(what["size"])
    began, before = time.perf_counter(), spent()
    try:
        bounded.run(WORK, "picture", content, LIMITS, before=asked(media_type=what["type"]))
        ended = "read"
    except bounded.RefusedError:
        ended = "refused"
    except bounded.OverLimitError:
        ended = "over a limit"
    except bounded.BrokenError:
        ended = "broken"
    most = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss * 1024
    told = {"ended": ended, "wall_s": time.perf_counter() - began, "cpu_s": spent() - before}
    print(json.dumps(told | {"most_bytes": most}), flush=True)
"""


def cost_of(files: list[tuple[bytes, str]]) -> list[dict]:
    """Of each file: how reading it `ended`, `wall_s`, `cpu_s`, and `most_bytes`, the most memory
    that a process had so far."""
    given = BytesIO()
    for content, media_type in files:
        what = json.dumps({"type": media_type, "size": len(content)}).encode()
        given.write(struct.pack("<I", len(what)) + what + content)
    ran = subprocess.run(
        [sys.executable, "-c", "import django; django.setup()\n" + DRIVER],
        input=given.getvalue(),
        capture_output=True,
        check=False,
        cwd=ROOT,
    )
    assert ran.returncode == 0, ran.stderr.decode()
    return [json.loads(line) for line in ran.stdout.splitlines()]


def hostile_sounds(wave: Wave) -> dict[str, tuple[bytes, str]]:
    """By what each does; `wave` is the sound that the broken ones had."""
    wav, flac = encoded("WAV", wave)[0], encoded("FLAC", wave)[0]
    ogg, mp4 = encoded("Vorbis in Ogg", wave)[0], encoded("AAC in MP4", wave)[0]
    webm, mp3 = encoded("Opus in WebM", wave)[0], encoded("MP3", wave)[0]
    return {
        "eleven minutes of silence at 192 kHz in little space": (_long_silence(), "audio/flac"),
        "a WAV that announces 2 GB": (_announcing_much(wav), "audio/wav"),
        "a FLAC picture of 16 MB that is not there": (
            flac[:4] + b"\x06\xff\xff\xff" + flac[8:],
            "audio/flac",
        ),
        "a FLAC with blocks of 65,535 samples": (
            flac[:8] + b"\xff\xff\xff\xff" + flac[12:],
            "audio/flac",
        ),
        "an Ogg page that goes on forever": (ogg[:26] + b"\xff" * 256 + ogg[27:], "audio/ogg"),
        "a table of four billion samples": (_with_huge_table(mp4), "audio/mp4"),
        "boxes within boxes": (mp4[:32] + _nested_boxes(20_000), "audio/mp4"),
        "a WebM element without an end": (
            webm[:40] + b"\x01" + b"\xff" * 7 + webm[40:],
            "audio/webm",
        ),
        "a tag of 256 MB before the sound": (
            b"ID3\x04\x00\x00\x7f\x7f\x7f\x7f" + mp3,
            "audio/mpeg",
        ),
        "heads of frames and nothing else": (mp3[:4] * 2_000_000, "audio/mpeg"),
        "20 MB of zeros": (bytes(20_000_000), "audio/mpeg"),
        "20 MB of anything": (np.random.default_rng(3).bytes(20_000_000), "audio/ogg"),
    }


def damaged_sounds(wave: Wave, number: int) -> list[tuple[bytes, str]]:
    """Files of every format with bytes drawn anew, cut out or doubled."""
    rng = np.random.default_rng(29)
    whole = [encoded(name, wave) for name in FORMATS]
    files = []
    for turn in range(number):
        content, media_type = whole[turn % len(whole)]
        damaged = bytearray(content)
        for at in rng.integers(0, len(damaged) - 64, 12):
            kind, size = rng.integers(3), int(rng.integers(1, 64))
            if kind == 0:
                damaged[at : at + size] = rng.bytes(size)
            elif kind == 1:
                del damaged[at : at + size]
            else:
                damaged[at:at] = damaged[at : at + size]
        files.append((bytes(damaged), media_type))
    return files


def _long_silence() -> bytes:
    file = BytesIO()
    with soundfile.SoundFile(
        file, "w", LONG_HZ, channels=2, format="FLAC", subtype="PCM_16"
    ) as written:
        second = np.zeros((LONG_HZ, 2), np.int16)
        for _ in range(LONG_S):
            written.write(second)
    return file.getvalue()


def _announcing_much(wav: bytes) -> bytes:
    at = wav.index(b"data") + 4
    return wav[:at] + b"\xff\xff\xff\x7f" + wav[at + 4 :]


def _with_huge_table(mp4: bytes) -> bytes:
    """The sample sizes (ISO/IEC 14496-12, section 8.7.3) are announced to be 2³² − 1."""
    at = mp4.index(b"stsz")
    return mp4[: at + 12] + b"\xff\xff\xff\xff" + mp4[at + 16 :]


def _nested_boxes(depth: int) -> bytes:
    """Movie boxes, each all of the one around it."""
    whole = 8 * depth
    return b"".join(
        (whole - 8 * level).to_bytes(4) + (b"moov" if level % 2 == 0 else b"trak")
        for level in range(depth)
    )
