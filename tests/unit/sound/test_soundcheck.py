"""What the phone says of a recording, from the same samples by scipy."""

import json
import subprocess
from pathlib import Path

import numpy as np
import pytest
from scipy.signal import butter, sosfilt, stft

ROOT = Path(__file__).parents[3]
SCRIPT = ROOT / "surveys/web/survey/static/survey/screens/sounds/soundcheck.js"
RATE_HZ = 16_000
CHECK = f"""
import {{ readFileSync }} from "node:fs";
import {{ check, RATE_HZ }} from {json.dumps(SCRIPT.as_uri())};
if (RATE_HZ !== {RATE_HZ}) throw new Error("rate");
const bytes = readFileSync(0);
const found = check(new Float32Array(bytes.buffer, bytes.byteOffset, bytes.length / 4));
found.columns = found.columns.map((column) => [...column]);
process.stdout.write(JSON.stringify(found));
"""
SECONDS = 4
TIME = np.arange(SECONDS * RATE_HZ) / RATE_HZ
NOISE = np.random.default_rng(3).normal(size=TIME.size)


def checked(samples):
    ran = subprocess.run(
        ["node", "--input-type=module", "--no-warnings", "-e", CHECK],
        input=samples.astype(np.float32).tobytes(),
        capture_output=True,
        check=False,
        timeout=60,
    )
    assert ran.returncode == 0, ran.stderr.decode()
    return json.loads(ran.stdout)


def whistle(hertz, amplitude=0.2):
    return amplitude * np.sin(2 * np.pi * hertz * TIME) * (TIME % 1 < 0.3)


def rumble(amplitude):
    return amplitude * sosfilt(butter(4, 120, "low", fs=RATE_HZ, output="sos"), NOISE)


@pytest.mark.parametrize("hertz", [420, 1400, 2900, 5600])
def test_the_loudest_pitch_is_told_and_nothing_is_wrong(hertz):
    found = checked(whistle(hertz) + 0.002 * NOISE)
    assert found["advice"] == []
    assert abs(found["loudestHz"] - hertz) <= 16


def test_what_is_cut_off_is_too_loud():
    assert checked(np.clip(3 * whistle(2900, 0.5), -1, 1))["advice"] == ["cut"]
    assert checked(whistle(2900, 0.9))["advice"] == []


def test_wind_over_a_call():
    assert checked(rumble(1.0) + whistle(2900, 0.02))["advice"] == ["wind"]
    # A bullfrog is low, and no wind.
    assert checked(whistle(300) + whistle(1400, 0.1) + 0.002 * NOISE)["advice"] == []


def test_next_to_nothing_is_said_to_be_silent():
    found = checked(0.0003 * NOISE)
    assert (found["advice"], found["loudestHz"]) == (["silent"], None)
    assert checked(np.zeros(100))["advice"] == ["silent"]
    assert checked(np.zeros(0))["advice"] == ["silent"]


def test_the_picture_is_that_of_scipy():
    samples = whistle(2900) + whistle(1400, 0.05) + 0.002 * NOISE
    columns = np.array(checked(samples)["columns"])
    _, _, expected = stft(
        samples, RATE_HZ, "hann", nperseg=512, noverlap=0, boundary=None, padded=False
    )
    level = 20 * np.log10(np.abs(expected[:256].T) + 1e-12)
    assert columns.shape == level.shape == (125, 256)
    loud = level > np.quantile(level, 0.99)
    assert columns[loud].min() > columns[~loud].mean()
    assert np.corrcoef(columns[columns > 0], level[columns > 0])[0, 1] > 0.99
    assert (columns.min(), columns.max()) == (0, 1)


def test_a_long_recording_has_no_more_columns_than_a_screen():
    assert np.array(checked(np.tile(whistle(2900), 15))["columns"]).shape == (400, 256)
