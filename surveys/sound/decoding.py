"""Samples from the bytes of a recording.

Whoever sent the file wrote its headers, so nothing rests on them: the demuxer follows from the
type that was checked when the recording arrived, only codecs that belong to that type are opened,
and lengths are counted in decoded samples. To be called in a process with limits
(`surveys.bounded`): a decoder written in C may fail in any way.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass

import av
import numpy as np
from av.audio.frame import AudioFrame
from av.audio.resampler import AudioResampler
from av.audio.stream import AudioStream
from av.container.input import InputContainer

from surveys.sound.fragments import once_each
from surveys.sound.waves import RATE_HZ, Samples, Wave

# FFmpeg adds two channels so that their power stays the same; half of the sum stays within 1.
_SHARES = {1: np.float32(1), 2: np.float32(0.5**0.5)}
RATES_HZ = (8_000, 192_000)
# Longer recordings are read up to here.
MOST_SECONDS = 600.0


class UnreadableError(Exception):
    """The file is broken, or holds sound of a kind that is not read."""


@dataclass(frozen=True, kw_only=True)
class Container:
    """How a media type is opened: FFmpeg's names of the demuxer and of the decoders."""

    demuxer: str
    decoders: tuple[str, ...]


# WAVE without compression: RFC 2361, WAVE_FORMAT_PCM and WAVE_FORMAT_IEEE_FLOAT.
_PCM = ("pcm_u8", "pcm_s16le", "pcm_s24le", "pcm_s32le", "pcm_f32le")
CONTAINERS = {
    "audio/wav": Container(demuxer="wav", decoders=_PCM),
    "audio/flac": Container(demuxer="flac", decoders=("flac",)),
    "audio/ogg": Container(demuxer="ogg", decoders=("opus", "libopus", "vorbis", "flac")),
    "audio/webm": Container(demuxer="matroska", decoders=("opus", "libopus", "vorbis")),
    "audio/mp4": Container(demuxer="mov", decoders=("aac", "opus", "libopus", "flac", "alac")),
    "audio/mpeg": Container(demuxer="mp3", decoders=("mp3float", "mp3")),
}


def decode(content: bytes, media_type: str, *, most_s: float = MOST_SECONDS) -> Wave:
    """The sound of a file of a type of CONTAINERS: its first audio stream as one channel at
    RATE_HZ, the mean of two channels, up to `most_s` seconds.

    A file that breaks off, or is damaged further on, gives what was read before. Raises
    UnreadableError where that is nothing.
    """
    most = round(most_s * RATE_HZ)
    parts: list[Samples] = []
    count = 0
    try:
        with opened(content, media_type) as source:
            for part in _resampled(source, audio_of(source, media_type)):
                parts.append(part)
                count += part.size
                if count > most:
                    break
    except (av.FFmpegError, UnreadableError) as error:
        if not count:
            raise UnreadableError(str(error)) from error
    if not count:
        raise UnreadableError("no sound")
    samples = np.concatenate(parts)[:most]
    np.clip(samples, -1, 1, out=samples)
    return Wave(samples=samples, cut=count > most)


def opened(content: bytes, media_type: str) -> InputContainer:
    """The container of a file. Raises av.FFmpegError."""
    container = CONTAINERS[media_type]
    # Options of FFmpeg's libavformat: what it may open while it looks for streams.
    options = {
        "codec_whitelist": ",".join(container.decoders),
        "format_whitelist": container.demuxer,
        "protocol_whitelist": "none",
    }
    if media_type == "audio/mp4":
        content = once_each(content)
    return av.open(io.BytesIO(content), "r", format=container.demuxer, options=options)


def audio_of(source: InputContainer, media_type: str) -> AudioStream:
    """The first audio stream. Raises UnreadableError where there is none, or it needs a decoder
    that does not belong to the type."""
    if not source.streams.audio:
        raise UnreadableError("no audio stream")
    stream = source.streams.audio[0]
    if stream.codec_context.name not in CONTAINERS[media_type].decoders:
        raise UnreadableError(f"the codec {stream.codec_context.name}")
    return stream


def _resampled(source: InputContainer, stream: AudioStream) -> Iterator[Samples]:
    """Raises UnreadableError and av.FFmpegError."""
    resampler = AudioResampler(format="flt", layout="mono", rate=RATE_HZ)
    share = np.float32(1)
    for frame in _frames(source, stream):
        _check(frame)
        share = _SHARES[frame.layout.nb_channels]
        # What a header says of the time is not used: gaps and jumps would be filled with it.
        frame.pts = None
        for part in resampler.resample(frame):
            yield _finite(part) * share
    for part in resampler.resample(None):
        yield _finite(part) * share


def _finite(part: AudioFrame) -> Samples:
    """Samples of a float file may be anything."""
    samples = part.to_ndarray().reshape(-1).astype(np.float32, copy=False)
    samples = np.nan_to_num(samples, nan=0, posinf=1, neginf=-1)
    return np.clip(samples, -2, 2)


def _frames(source: InputContainer, stream: AudioStream) -> Iterator[AudioFrame]:
    for packet in source.demux(stream):
        # The last one is empty: it brings what the decoder still holds.
        yield from packet.decode()


def _check(frame: AudioFrame) -> None:
    """Raises UnreadableError."""
    if frame.layout.nb_channels not in _SHARES:
        raise UnreadableError(f"{frame.layout.nb_channels} channels")
    if not RATES_HZ[0] <= frame.sample_rate <= RATES_HZ[1]:
        raise UnreadableError(f"{frame.sample_rate} samples a second")
