"""Sound as a small file that every browser plays: AAC in MP4."""

from __future__ import annotations

import io

import av
import numpy as np
from av.audio.frame import AudioFrame
from av.audio.resampler import AudioResampler

from surveys.sound.waves import RATE_HZ, Wave

MEDIA_TYPE = "audio/mp4"
# Whistles and pulses of frogs need more than a voice.
_BITS_A_SECOND = 64_000
# Samples in a frame: ISO/IEC 14496-3.
_FRAME = 1024
_LOUDEST = 0.9


def encoded(wave: Wave) -> bytes:
    """The sound as one file, as loud as it goes. It holds nothing but the sound: no name, place or
    device of the recording it is taken from."""
    samples = wave.samples
    most = float(np.abs(samples).max(initial=0))
    if most > 0:
        samples = samples * np.float32(_LOUDEST / most)
    made = io.BytesIO()
    with av.open(made, "w", format="mp4") as target:
        stream = target.add_stream("aac", rate=RATE_HZ, layout="mono")
        stream.bit_rate = _BITS_A_SECOND
        whole = AudioFrame.from_ndarray(samples[np.newaxis, :], format="fltp", layout="mono")
        whole.sample_rate = RATE_HZ
        pieces = AudioResampler(format="fltp", layout="mono", rate=RATE_HZ, frame_size=_FRAME)
        for frame in (*pieces.resample(whole), *pieces.resample(None)):
            target.mux(stream.encode(frame))
        target.mux(stream.encode(None))
    return made.getvalue()
