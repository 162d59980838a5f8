"""Sound is read and measured as by other libraries, and pitches as printed sources give them."""

from io import BytesIO

import numpy as np
import pytest
import scipy.signal
import soundfile

from surveys.sound.decoding import decode
from surveys.sound.measures import measure
from surveys.sound.spectrogram import FRAME, HOP, powers
from surveys.sound.waves import RATE_HZ
from tests.support.callers import Caller, sung
from tests.support.encoded import encoded
from tests.support.for_each import for_each

WAVE = sung([Caller(pitch_hz=2700, pulse_rate=30)], snr_db=10, seconds=3)


def test_power_is_that_of_scipy():
    """scipy.signal.spectrogram, power spectrum: a sine of amplitude 1 has power 1/2 there and 1
    here."""
    _, _, expected = scipy.signal.spectrogram(
        WAVE.samples,
        RATE_HZ,
        window=scipy.signal.get_window("hann", FRAME),
        nperseg=FRAME,
        noverlap=FRAME - HOP,
        detrend=False,
        scaling="spectrum",
    )
    found = np.concatenate(list(powers(WAVE.samples))).T
    assert found.shape == expected.shape
    # The outermost pitches have no mirror image, which doubles their power elsewhere.
    np.testing.assert_allclose(found[1:-1], 2 * expected[1:-1], rtol=1e-3, atol=1e-11)


@for_each("name", ("WAV", "FLAC", "WAV of floats"), str)
def test_samples_are_those_of_libsndfile(name):
    """Files at 48 kHz are compared after scipy.signal.resample_poly: both filters are flat below
    5 kHz, where this call sounds."""
    content, media_type = encoded(name, WAVE)
    samples, rate = soundfile.read(BytesIO(content), dtype="float32")
    expected = scipy.signal.resample_poly(samples, RATE_HZ, rate) if rate != RATE_HZ else samples
    found = decode(content, media_type).samples
    size = min(found.size, expected.size)
    assert abs(found.size - expected.size) <= 32
    low = scipy.signal.butter(6, 5000, fs=RATE_HZ, output="sos")
    difference = scipy.signal.sosfiltfilt(low, found[:size] - expected[:size])
    assert np.sqrt(np.mean(np.square(difference))) < 0.01 * np.std(expected)


def test_pitch_is_the_peak_of_welch():
    """scipy.signal.welch, steps of 1 Hz; from Welch (1967), IEEE Trans. Audio Electroacoust. 15."""
    for pitch in (612.0, 1187.0, 4410.0):
        wave = sung([Caller(pitch_hz=pitch)], snr_db=10, seed=int(pitch))
        pitches, level = scipy.signal.welch(wave.samples, RATE_HZ, nperseg=RATE_HZ)
        expected = pitches[level.argmax()]
        assert measure(wave).bands[0].pitch_hz == pytest.approx(expected, rel=0.02)


# Strongest pitch in Hz and pulses a second, all from memory.
VOICES = {
    "spring peeper": Caller(pitch_hz=2800, note_s=0.15, rest_s=0.85),
    "American toad": Caller(pitch_hz=1600, pulse_rate=30, note_s=7, rest_s=4),
    "gray treefrog": Caller(pitch_hz=2200, pulse_rate=28, note_s=0.7, rest_s=1.5),
    "Cope's gray treefrog": Caller(pitch_hz=2400, pulse_rate=44, note_s=0.5, rest_s=1.5),
}


@for_each("name", VOICES, str)
def test_voices_as_described(name):
    voice = VOICES[name]
    band = measure(sung([voice], snr_db=8, seed=len(name))).bands[0]
    assert band.pitch_hz == pytest.approx(voice.pitch_hz, rel=0.02)
    if voice.pulse_rate:
        assert band.pulse_rate == pytest.approx(voice.pulse_rate, rel=0.01)
    else:
        assert band.pulse_rate is None
