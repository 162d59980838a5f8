"""The table of calls that are made by computer, and the sound that is made of it.

The browser's own module makes the samples here, in Node.js; the core of sound and scipy measure
them.
"""

import json
import subprocess
from pathlib import Path

import numpy as np
import pytest
from scipy.signal import butter, hilbert, resample_poly, sosfiltfilt, welch

from surveys.sound.calls import FROM_MEMORY, HIGH_HZ, call_of, calls, is_high, tempo
from surveys.sound.measures import measure
from surveys.sound.notes import FASTEST
from surveys.sound.waves import RATE_HZ, Wave
from tests.support.for_each import for_each

ROOT = Path(__file__).parents[3]
SYNTHESIS = ROOT / "surveys/web/calls/static/calls/synthesis.js"
SPECIES = {
    row["code"]: row for row in json.loads((ROOT / "fixtures/species.json").read_text())["species"]
}
MADE_HZ = 22_050
# When one male begins.
BEGIN_S = 0.3
# A single short note every five seconds is not measured.
RARE = "lithobates-clamitans"
# Renders what standard input asks for, one after the other, and writes 32-bit samples.
RENDER = f"""
import {{ readFileSync }} from "node:fs";
import {{ scene, tempo, RATE_HZ }} from {json.dumps(SYNTHESIS.as_uri())};
const asked = JSON.parse(readFileSync(0, "utf-8"));
if (RATE_HZ !== {MADE_HZ}) throw new Error("rate");
const parts = asked.map((one) => one.tempo ? Float32Array.of(tempo(...one.tempo)) : scene(one));
for (const part of parts) process.stdout.write(new Uint8Array(part.buffer));
"""
SCENES = [
    {"call": code, "seconds": 20.0 if call.every_s > 5 else 8.0} for code, call in calls().items()
]
TEMPERATURES = [(-5, 20), (5, 12), (13.5, 15), (20, 20), (31, 24), (40, 20)]


def rendered(asked):
    """Samples of several scenes at 22,050 a second."""
    ran = subprocess.run(
        ["node", "--input-type=module", "--no-warnings", "-e", RENDER],
        input=json.dumps(asked).encode(),
        capture_output=True,
        check=False,
        timeout=120,
    )
    assert ran.returncode == 0, ran.stderr.decode()
    return np.frombuffer(ran.stdout, np.float32)


@pytest.fixture(scope="module")
def made():
    """The call of one male of each species, at the temperature at which it is known."""
    asked = [
        {"voices": [{"call": calls()[one["call"]].plain(), "index": 1}], "seconds": one["seconds"]}
        for one in SCENES
    ]
    samples = rendered(asked)
    ends = np.cumsum([round(one["seconds"] * MADE_HZ) for one in SCENES])
    assert ends[-1] == samples.size
    parts = np.split(samples, ends[:-1])
    return {one["call"]: part for one, part in zip(SCENES, parts, strict=True)}


@for_each("code", calls(), str)
def test_every_value_fits_the_catalog(code):
    call, species = call_of(code), SPECIES[code]
    for part in call.parts:
        for pitch in (*part.pitch_hz, *([part.second_hz] if part.second_hz else [])):
            assert any(low <= pitch <= high for low, high in species["peaks_hz"]), pitch
        assert part.note_s > 0
        assert (part.notes == 1) == (part.note_every_s == (0, 0))
        assert min(part.note_every_s) > part.note_s or part.notes == 1, "notes stand apart"
        assert bool(part.second_hz) == bool(part.second_share)
    assert sounding_s(call.parts) < call.every_s, "a call ends before the next"


def test_each_value_has_a_source():
    toad = call_of("anaxyrus-americanus")
    assert toad.source_of("pulse_rate").startswith("Zweifel 1968")
    assert toad.source_of("pitch_hz") == FROM_MEMORY
    for call in calls().values():
        assert all(call.source_of(value) for value in call.sources)


def test_of_a_species_that_is_not_known_well_nothing_is_made():
    """Its notes are too uneven to be described by numbers."""
    assert call_of("lithobates-pipiens") is None
    assert call_of("ascaphus-truei") is None


def test_voices_that_many_do_not_hear():
    high = {
        code
        for code, row in SPECIES.items()
        if is_high(" + ".join(f"{low}-{top}" for low, top in row["peaks_hz"]))
    }
    assert high == {
        "pseudacris-ocularis",
        "anaxyrus-quercicus",
        "eleutherodactylus-planirostris",
    }
    assert HIGH_HZ == 4000


def test_tempo_of_browser_and_core_agree():
    found = rendered([{"tempo": list(pair)} for pair in TEMPERATURES])
    np.testing.assert_allclose(found, [tempo(*pair) for pair in TEMPERATURES], rtol=1e-6)


def at_measuring_rate(samples):
    """With a little noise, without which there is nothing that a band could stand out from."""
    noise = 0.003 * np.random.default_rng(1).standard_normal(samples.size)
    return resample_poly(samples + noise, 320, 441).astype(np.float32)


def strongest(part):
    """Whichever of its pitches is louder; the ends between which it slides."""
    return part.pitch_hz if part.second_share < 1 else (part.second_hz, part.second_hz)


@for_each("code", calls(), str)
def test_pitch_is_as_told(code, made):
    """Within 2 % by both; of a note that slides, between its ends."""
    samples = at_measuring_rate(made[code])
    parts = calls()[code].parts
    pitches, level = welch(samples, RATE_HZ, nperseg=8192)
    assert_among(pitches[level.argmax()], [strongest(part) for part in parts])
    heard = measure(Wave(samples=samples))
    both = [part.pitch_hz for part in parts]
    both += [(part.second_hz, part.second_hz) for part in parts if part.second_hz]
    told = [band.pitch_hz for band in heard.bands[:1] if band.pitch_hz]
    for pitch in told:
        assert_among(pitch, both)
    slides = max(max(ends) / min(ends) for ends in both)
    assert told or slides > 1.05 or code == RARE, "only what slides far has no one pitch"


def assert_among(found, ends):
    assert any(0.98 * min(end) <= found <= 1.02 * max(end) for end in ends), (found, ends)


def sounding_s(parts):
    """From the beginning of a call to its end."""
    return sum(
        part.note_s + part.then_s + (part.notes - 1) * sum(part.note_every_s) / 2 for part in parts
    )


@for_each("code", [code for code, call in calls().items() if call.parts[0].pulse_rate], str)
def test_pulse_rate_is_as_told(code, made):
    """Within 1 % by both, as far as the core goes: the strongest line in the envelope."""
    part = calls()[code].parts[0]
    begin = round(BEGIN_S * MADE_HZ)
    note = made[code][begin : begin + round(part.note_s * MADE_HZ)].astype(float)
    pitch = np.mean(part.pitch_hz)
    beside = max(2.2 * part.pulse_rate, 0.12 * pitch)
    band = butter(2, (pitch - beside, pitch + beside), "bandpass", fs=MADE_HZ, output="sos")
    envelope = np.abs(hilbert(sosfiltfilt(band, note)))
    size = 1 << 19
    spectrum = np.abs(np.fft.rfft((envelope - envelope.mean()) * np.hanning(envelope.size), size))
    rates = np.arange(spectrum.size) * MADE_HZ / size
    spectrum[rates < 0.6 * part.pulse_rate] = 0
    assert rates[spectrum.argmax()] == pytest.approx(part.pulse_rate, rel=0.01)
    by_core = measure(Wave(samples=at_measuring_rate(made[code]))).bands[0].pulse_rate
    if part.pulse_rate > FASTEST:
        assert by_core is None, "not half of it"
    elif by_core is not None:
        assert by_core == pytest.approx(part.pulse_rate, rel=0.01)


def test_colder_is_slower_and_no_lower():
    call = call_of("dryophytes-versicolor")
    asked = {"voices": [{"call": call.plain(), "index": 1}], "seconds": 20.0, "celsius": 16}
    band = measure(Wave(samples=at_measuring_rate(rendered([asked])))).bands[0]
    assert band.pulse_rate == pytest.approx(call.pulse_rate_at(16), rel=0.01)
    assert call.pulse_rate_at(16) == pytest.approx(22 * 0.78)
    assert band.pitch_hz == pytest.approx(2200, rel=0.02)


def power(samples, low, high):
    pitches, level = welch(samples, MADE_HZ, nperseg=4096)
    return level[(pitches >= low) & (pitches < high)].mean()


def test_a_chorus_sounds_without_pause_and_further_away_it_is_duller():
    call = call_of("anaxyrus-quercicus").plain()
    seconds = 6.0
    one = {"voices": [{"call": call, "index": 1}], "seconds": seconds}
    few, chorus, again, far = rendered(
        [
            {**one, "voices": [{"call": call, "index": 2}]},
            {**one, "voices": [{"call": call, "index": 3}]},
            {**one, "voices": [{"call": call, "index": 3}]},
            {**one, "distance": 200, "behind": "wind"},
        ]
    ).reshape(4, -1)
    assert np.array_equal(chorus, again), "the same seed, the same sound"
    frames = len(few) // 1000

    def sounding(samples):
        level = np.abs(samples[: frames * 1000]).reshape(frames, 1000).max(axis=1)
        return np.mean(level > 0.05)

    assert sounding(few) < sounding(chorus)
    assert sounding(chorus) > 0.95
    near = rendered([{**one, "behind": "wind"}])
    told = power(near, 4700, 5300) / power(near, 60, 300)
    assert power(far, 4700, 5300) / power(far, 60, 300) < told / 100


def test_backgrounds_lie_where_they_belong():
    call = call_of("pseudacris-crucifer").plain()
    one = {"voices": [{"call": call, "index": 1}], "seconds": 4.0}
    wind, rain, road = rendered(
        [{**one, "behind": behind} for behind in ("wind", "rain", "road")]
    ).reshape(3, -1)
    for low_noise in (wind, road):
        assert power(low_noise, 60, 300) > 20 * power(low_noise, 5000, 8000)
    assert power(rain, 5000, 8000) > power(rain, 60, 300)
    assert max(np.abs(wind).max(), np.abs(rain).max()) <= 0.81
