"""Sound that the server makes is the sound that the browser makes, in Node.js here."""

import io
import wave

import numpy as np
import pytest

from surveys.sound.calls import calls
from surveys.sound.synthesis import RATE_HZ, Scene, samples_of, wave_file
from tests.unit.sound.test_calls import rendered

PEEPER, TOAD = "pseudacris-crucifer", "anaxyrus-americanus"
SCENES = [
    Scene(voices=[(call.plain(), index)], seconds=3.0, seed=7 + index)
    for index, call in zip((1, 2, 3) * 40, calls().values(), strict=False)
] + [
    Scene(
        voices=[(calls()[PEEPER].plain(), 2), (calls()[TOAD].plain(), 3)],
        celsius=9.5,
        seconds=4.0,
        distance=60,
        behind=behind,
        seed=2**31 - 5,
    )
    for behind in ("", "wind", "rain", "road")
]


def test_server_and_browser_make_the_same_sound():
    asked = [
        {
            "voices": [{"call": call, "index": index} for call, index in scene.voices],
            "celsius": scene.celsius,
            "seconds": scene.seconds,
            "distance": scene.distance,
            "behind": scene.behind,
            "seed": scene.seed,
        }
        for scene in SCENES
    ]
    own = [samples_of(scene) for scene in SCENES]
    ends = np.cumsum([one.size for one in own])
    for made, theirs in zip(own, np.split(rendered(asked), ends[:-1]), strict=True):
        # The browser counts in 32 bits.
        np.testing.assert_allclose(made, theirs, atol=2e-4)


@pytest.mark.parametrize("behind", ["", "rain"])
def test_without_a_voice_there_is_noise_or_silence(behind):
    samples = samples_of(Scene(voices=[], seconds=1, behind=behind))
    assert np.max(np.abs(samples)) == (pytest.approx(0.8) if behind else 0)


def test_the_file_holds_the_samples():
    samples = samples_of(Scene(voices=[(calls()[PEEPER].plain(), 1)], seconds=2))
    with wave.open(io.BytesIO(wave_file(samples))) as file:
        told = (file.getframerate(), file.getnchannels(), file.getnframes())
        kept = np.frombuffer(file.readframes(file.getnframes()), "<i2") / 32767
    assert told == (RATE_HZ, 1, 2 * RATE_HZ)
    np.testing.assert_allclose(kept, samples, atol=1e-4)
