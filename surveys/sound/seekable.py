"""A copy of a recording in which a player can jump.

Browsers record WebM without length and index, and MP4 in fragments: a player then shows no length
and jumps badly. The packets of sound are put into a new container as they are.
"""

from __future__ import annotations

import io

import av

from surveys.sound.decoding import UnreadableError, audio_of, opened
from surveys.sound.fragments import FRAGMENT

_MUXER = {"audio/webm": "webm", "audio/mp4": "mp4"}


def seekable_copy(content: bytes, media_type: str) -> bytes | None:
    """The same sound with length and index; None where the file has them, or its type needs none.

    Raises UnreadableError.
    """
    if media_type not in _MUXER:
        return None
    try:
        with opened(content, media_type) as source:
            stream = audio_of(source, media_type)
            if not _needed(content, media_type, source.duration):
                return None
            return _copied(source, stream, media_type)
    except av.FFmpegError as error:
        raise UnreadableError(str(error)) from error


def _needed(content: bytes, media_type: str, duration: int | None) -> bool:
    return duration is None or (media_type == "audio/mp4" and FRAGMENT in content)


def _copied(source: av.container.InputContainer, stream: av.AudioStream, media_type: str) -> bytes:
    made = io.BytesIO()
    with av.open(made, "w", format=_MUXER[media_type]) as target:
        copy = target.add_stream_from_template(stream)
        for packet in source.demux(stream):
            # The last one is empty; one without a time cannot be placed.
            if packet.dts is None or not packet.size:
                continue
            packet.stream = copy
            target.mux(packet)
    return made.getvalue()
