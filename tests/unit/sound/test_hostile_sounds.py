"""What a file that is made to harm can cost: 5 s of work and 500 MB, in a process of its own."""

import pytest

from tests.support.callers import Caller, sung
from tests.support.hostile_sounds import cost_of, damaged_sounds, hostile_sounds

MOST_S, MOST_BYTES = 5, 500_000_000
WAVE = sung([Caller(pitch_hz=2700, pulse_rate=30)], snr_db=20, seconds=2)


def over(files):
    """Those that cost more than they may, and how all ended."""
    costs = dict(zip(files, cost_of(list(files.values())), strict=True))
    # The kernel ends a process within a tick of its limit.
    dear = {
        name: cost
        for name, cost in costs.items()
        if cost["cpu_s"] > MOST_S + 0.5 or cost["most_bytes"] > MOST_BYTES
    }
    return dear, {name: cost["ended"] for name, cost in costs.items()}


def test_hostile_files_cost_little():
    dear, ended = over(hostile_sounds(WAVE))
    assert dear == {}
    assert set(ended.values()) <= {"read", "refused", "over a limit"}


@pytest.mark.slow
def test_two_hundred_damaged_files_cost_little():
    files = {str(number): file for number, file in enumerate(damaged_sounds(WAVE, 200))}
    dear, ended = over(files)
    assert dear == {}
    assert set(ended.values()) <= {"read", "refused", "over a limit"}
