"""Sound files of every accepted kind, made by FFmpeg as PyAV brings it, and by libsndfile."""

import io

import av
import numpy as np
import soundfile

from surveys.sound.waves import RATE_HZ, Wave

# Name, media type, container and encoder of FFmpeg.
_BY_FFMPEG = {
    "WAV": ("audio/wav", "wav", "pcm_s16le"),
    "FLAC": ("audio/flac", "flac", "flac"),
    "Opus in Ogg": ("audio/ogg", "ogg", "libopus"),
    "Opus in WebM": ("audio/webm", "webm", "libopus"),
    "Opus in MP4": ("audio/mp4", "mp4", "libopus"),
    "AAC in MP4": ("audio/mp4", "mp4", "aac"),
    "MP3": ("audio/mpeg", "mp3", "libmp3lame"),
}
# Name, media type, format and subtype of libsndfile.
_BY_SNDFILE = {
    "WAV of floats": ("audio/wav", "WAV", "FLOAT"),
    "Vorbis in Ogg": ("audio/ogg", "OGG", "VORBIS"),
}
FORMATS = (*_BY_FFMPEG, *_BY_SNDFILE, "Vorbis in WebM")
FILE_RATE_HZ = 48_000


class _Pipe(io.RawIOBase):
    """Where nothing that was written can be changed any more, as in a browser that records."""

    def __init__(self) -> None:
        self.written = io.BytesIO()

    def writable(self) -> bool:
        return True

    def write(self, part: bytes) -> int:
        return self.written.write(part)


def encoded(name: str, wave: Wave) -> tuple[bytes, str]:
    """A file of one of FORMATS and its media type."""
    if name in _BY_FFMPEG:
        media_type, container, encoder = _BY_FFMPEG[name]
        made = io.BytesIO()
        _encode(wave, made, container, encoder)
        return made.getvalue(), media_type
    if name in _BY_SNDFILE:
        media_type, container, subtype = _BY_SNDFILE[name]
        made = io.BytesIO()
        soundfile.write(made, wave.samples, RATE_HZ, format=container, subtype=subtype)
        return made.getvalue(), media_type
    ogg, _ = encoded("Vorbis in Ogg", wave)
    return _moved(ogg), "audio/webm"


def as_recorded(name: str, wave: Wave) -> tuple[bytes, str]:
    """As a browser records it: WebM without a length, MP4 in fragments."""
    media_type, container, encoder = _BY_FFMPEG[name]
    options = {"live": "1"}
    if container == "mp4":
        options = {
            "movflags": "empty_moov+frag_keyframe+default_base_moof",
            "frag_duration": "1000000",
        }
    pipe = _Pipe()
    _encode(wave, pipe, container, encoder, options)
    return pipe.written.getvalue(), media_type


def stopped_as_by_gstreamer(content: bytes) -> bytes:
    """MP4 in fragments whose last head stands there twice, with another number (ISO/IEC 14496-12,
    section 8.8.5)."""
    at = content.rindex(b"moof") - 4
    head = content[at : at + int.from_bytes(content[at : at + 4])]
    number = int.from_bytes(head[20:24]) + 1
    return (
        content[:at] + head + head[:20] + number.to_bytes(4) + head[24:] + content[at + len(head) :]
    )


def with_time_turned_back(content: bytes) -> bytes:
    """MP4 in fragments, the last of which says that it begins where the file does."""
    at = content.rindex(b"tfdt") + 4
    size = 8 if content[at] else 4
    return content[: at + 4] + bytes(size) + content[at + 4 + size :]


def length_told(content: bytes) -> float | None:
    """What the container says of its length, in seconds."""
    with av.open(io.BytesIO(content)) as source:
        return None if source.duration is None else source.duration / 1_000_000


def _encode(
    wave: Wave,
    target: io.IOBase,
    container: str,
    encoder: str,
    options: dict[str, str] | None = None,
) -> None:
    samples = np.clip(wave.samples, -1, 1).reshape(1, -1)
    with av.open(target, "w", format=container, options=options or {}) as made:
        stream = made.add_stream(encoder, rate=FILE_RATE_HZ, layout="mono")
        stream.codec_context.open()
        frame = av.AudioFrame.from_ndarray(samples, format="flt", layout="mono")
        frame.sample_rate = RATE_HZ
        resampler = av.AudioResampler(
            format=stream.codec_context.format.name,
            layout="mono",
            rate=FILE_RATE_HZ,
            frame_size=stream.codec_context.frame_size or None,
        )
        for part in [*resampler.resample(frame), *resampler.resample(None)]:
            made.mux(stream.encode(part))
        made.mux(stream.encode(None))


def _moved(content: bytes) -> bytes:
    """The same packets in WebM."""
    made = io.BytesIO()
    with av.open(io.BytesIO(content)) as source, av.open(made, "w", format="webm") as target:
        stream = source.streams.audio[0]
        copy = target.add_stream_from_template(stream)
        for packet in source.demux(stream):
            if packet.dts is not None and packet.size:
                packet.stream = copy
                target.mux(packet)
    return made.getvalue()
