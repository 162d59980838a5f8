"""Calls that are made by computer, beside what was published of the same species.

The sources stand in `fixtures/calls.json`; their abstracts were read, the papers were not.
"""

import pytest

from surveys.sound.calls import call_of
from tests.support.for_each import for_each

# Zweifel 1968, Copeia 1968:269-285 (year and pages from memory), abstract: pulses a second and
# seconds of a call, over the body temperatures of one season.
TOADS = {
    "anaxyrus-americanus": ((18, 59), (4, 11)),
    "anaxyrus-fowleri": ((83, 161), (1.3, 2.5)),
}


@for_each("code", TOADS, str)
def test_toads_trill_as_zweifel_measured(code):
    rates, lengths = TOADS[code]
    call = call_of(code)
    assert lengths[0] <= call.parts[0].note_s <= lengths[1]
    for celsius in (15, 20, 25):
        assert rates[0] <= call.pulse_rate_at(celsius) <= rates[1]
    # "Pulse rate … approximately doubles with a 10 °C increase."
    assert 1.6 <= call.pulse_rate_at(25) / call.pulse_rate_at(15) <= 2.4


def test_fowlers_toad_pulses_faster_at_any_temperature():
    """The same abstract: no overlap once temperature is taken into account."""
    american, fowlers = (call_of(code) for code in TOADS)
    for celsius in range(8, 31):
        assert fowlers.pulse_rate_at(celsius) > 2 * american.pulse_rate_at(celsius)


def test_green_treefrog_has_two_pitches():
    """Gerhardt 1981, J. Comp. Physiol. 144:9-16 (year and pages from memory), abstract: a standard
    call of 0.9 and 3.0 kHz."""
    (part,) = call_of("dryophytes-cinereus").parts
    assert sorted((part.pitch_hz[0], part.second_hz)) == [900, 3000]


def test_gray_treefrogs_have_two_pitches_and_the_bird_voiced_one():
    """Gerhardt and others 2007, J. Exp. Biol. 210:2990, abstract."""
    for code in ("dryophytes-versicolor", "dryophytes-chrysoscelis"):
        assert call_of(code).parts[0].second_hz
    assert not call_of("dryophytes-avivoca").parts[0].second_hz


def test_gray_treefrogs_at_one_temperature():
    """Two recordings published on one page, both species at one pond on one evening: 31.7 and 59.5
    pulses a second; on another evening, at 64 °F, 16 to 18 and 30. So the one is 1.7 to 1.9 times
    as fast as the other; here it is within a fifth of that."""
    gray, copes = (
        call_of(code).pulse_rate_at(20)
        for code in ("dryophytes-versicolor", "dryophytes-chrysoscelis")
    )
    assert 0.8 * 1.7 <= copes / gray <= 1.2 * 1.9


def test_the_second_note_of_the_coqui():
    """Temporal and spectral characteristics of the call in Hawaii, abstract: 1.81 times as high as
    the first, spread 0.07, of 55 males."""
    first, second = (sum(part.pitch_hz) / 2 for part in call_of("eleutherodactylus-coqui").parts)
    assert second / first == pytest.approx(1.81, abs=0.07)
