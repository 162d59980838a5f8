"""The demo's sounds: the same every time, different by species, fuller with the call index."""

import io
import wave
from random import Random

import numpy as np
import pytest

from surveys.demo.sounds import (
    RATE_HZ,
    SECONDS,
    chorus,
    voice_of,
)


def samples(content: bytes) -> np.ndarray:
    with wave.open(io.BytesIO(content)) as file:
        assert (file.getnchannels(), file.getsampwidth()) == (1, 2)
        assert file.getframerate() == RATE_HZ
        return np.frombuffer(file.readframes(file.getnframes()), "<i2") / 32768


@pytest.mark.parametrize("index", [1, 2, 3])
def test_the_same_every_time(index):
    one, other = (chorus("hyla-gratiosa", index, Random(4)) for _ in range(2))
    assert one == other
    assert samples(one).size == RATE_HZ * SECONDS
    assert 0.3 < np.abs(samples(one)).max() < 0.9


def test_species_differ():
    assert voice_of("hyla-gratiosa") != voice_of("hyla-squirella")


def test_a_full_chorus_leaves_less_silence():
    def silent(index: int) -> float:
        parts = np.abs(samples(chorus("hyla-gratiosa", index, Random(4)))).reshape(
            -1, RATE_HZ // 50
        )
        return float((parts.max(axis=1) < 0.05).mean())

    assert silent(1) > silent(2) > silent(3)
