"""Pictures show what sounded, where it sounded."""

import io

import numpy as np
import pytest
from PIL import Image

from surveys.sound.picture import WAVE_ROWS, spectrogram_png, waveform, waveform_png
from surveys.sound.spectrogram import FRAME, spectrogram
from surveys.sound.waves import RATE_HZ, Wave


def ink(png: bytes) -> np.ndarray:
    return np.asarray(Image.open(io.BytesIO(png)).getchannel("A"), float)


def test_a_click_in_two_minutes_is_seen_where_it_was():
    samples = 0.001 * np.random.default_rng(1).standard_normal(120 * RATE_HZ)
    samples[90 * RATE_HZ : 90 * RATE_HZ + 160] = 0.5
    shown = spectrogram(Wave(samples=samples.astype(np.float32)))
    assert shown.level_db.shape == (FRAME // 2 + 1, 1200)
    assert ink(spectrogram_png(shown)).sum(axis=0).argmax() == pytest.approx(900, abs=1)


def test_high_is_up():
    time = np.arange(4 * RATE_HZ) / RATE_HZ
    whistle = np.sin(2 * np.pi * 6000 * time) * (time > 2)
    noise = 0.01 * np.random.default_rng(2).standard_normal(time.size)
    picture = ink(spectrogram_png(spectrogram(Wave(samples=(whistle + noise).astype(np.float32)))))
    rows = picture[:, picture.shape[1] * 3 // 4]
    assert rows.argmax() / picture.shape[0] == pytest.approx(0.25, abs=0.01)
    assert picture[:, : picture.shape[1] // 3].max() < 255


def test_silence_makes_a_picture_without_ink():
    shown = spectrogram(Wave(samples=np.zeros(RATE_HZ, np.float32)))
    assert ink(spectrogram_png(shown)).max() == 0


def test_a_wave_shorter_than_a_frame():
    assert spectrogram(Wave(samples=np.zeros(5, np.float32))).level_db.shape == (257, 1)


def test_waveform():
    samples = np.concatenate([np.full(4000, 0.1), np.full(4000, -0.4)]).astype(np.float32)
    peaks = waveform(Wave(samples=samples), columns=8)
    assert peaks.tolist() == pytest.approx([0.1] * 4 + [0.4] * 4)
    high = (ink(waveform_png(peaks)) > 0).sum(axis=0)
    assert high.tolist() == [16] * 4 + [WAVE_ROWS] * 4
    assert waveform(Wave(samples=np.zeros(0, np.float32))).tolist() == [0]
