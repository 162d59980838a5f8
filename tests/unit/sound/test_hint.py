"""What a hint names, and what keeps it silent."""

from dataclasses import replace

import pytest

from surveys.sound.call_ranges import CallRange, Sample, measured_range, remembered_ranges
from surveys.sound.calls import call_of, tempo
from surveys.sound.hint import MOST_NAMED, Hint, Silence, hints
from surveys.sound.measured import BandMeasures
from surveys.sound.measures import measure
from tests.support.callers import Caller, sung
from tests.support.for_each import for_each

BOREAL = CallRange(species="boreal", pitch_hz=(2400, 3100), pulse_rate=(20, 27), references=3)
PEEPER = CallRange(species="peeper", pitch_hz=(2600, 3100), pulse_rate=None, references=4)


def band(pitch_hz=2700.0, pulse_rate=None, **fields):
    usual = {
        "low_hz": 2600,
        "high_hz": 2900,
        "pitch_hz": pitch_hz,
        "pulse_rate": pulse_rate,
        "note_s": None,
        "several": False,
        "note_count": 20,
        "rise": 0.05,
        "note_spread": 0.1,
    }
    return BandMeasures(**usual | fields)


def hint(heard, *known, celsius=14.0):
    (found,) = hints([heard], known, celsius)
    return found


def test_what_pulses_at_the_rate_of_the_temperature_is_named():
    # 20 to 27 pulses a second at 20 °C are 13 to 18 at 14 °C, and at 11 to 17 °C, 10 to 23.
    rate = 22 * tempo(14, 20)
    assert hint(band(pulse_rate=rate), BOREAL, PEEPER) == Hint(species=("boreal",))
    assert hint(band(pulse_rate=rate), BOREAL, celsius=27).silence is Silence.NOTHING_FITS


def test_what_pulses_has_no_hint_without_a_temperature():
    assert hint(band(pulse_rate=16.0), BOREAL, celsius=None).silence is Silence.NO_TEMPERATURE
    assert hint(band(), PEEPER, celsius=None).species == ("peeper",)


@for_each(
    "fields",
    [{"note_count": 7}, {"rise": 0.0}, {"rise": None}, {"note_spread": 0.5}],
)
def test_a_whistle_needs_many_notes_that_rise_and_are_alike(fields):
    assert hint(band(**fields), PEEPER).silence is Silence.FEW_WHISTLES
    assert hint(band(), PEEPER).species == ("peeper",)


def test_measures_from_before_notes_were_counted_have_no_hint():
    for rate in (None, 16.0):
        old = band(pulse_rate=rate, note_count=None, rise=None, note_spread=None)
        assert hint(old, PEEPER, BOREAL).silence is Silence.NOT_COUNTED


def test_pulses_without_beginning_and_end_are_no_call():
    trill = band(pulse_rate=16.0, note_count=0)
    assert hint(trill, BOREAL).silence is Silence.ENDLESS
    assert hint(band(pulse_rate=16.0, note_count=1), BOREAL).species == ("boreal",)


def test_notes_last_as_long_as_in_the_reference_calls():
    short = replace(PEEPER, note_s=(0.1, 0.3))
    assert hint(band(note_s=0.2), short).species == ("peeper",)
    for length in (0.05, 0.4):
        assert hint(band(note_s=length), short).silence is Silence.NOTHING_FITS
    assert hint(band(note_s=None), short).species == ("peeper",)


def test_notes_of_one_caller_rise_as_in_the_reference_calls():
    rising = replace(BOREAL, rise=(0.03, 0.07))
    heard = {"pulse_rate": 16.0, "rise": 0.0}
    assert hint(band(**heard), rising).silence is Silence.NOTHING_FITS
    assert hint(band(**heard | {"rise": 0.05}), rising).species == ("boreal",)
    assert hint(band(**heard, several=True), rising).species == ("boreal",)


def test_species_that_sound_alike_are_named_together_but_not_too_many():
    twins = [
        CallRange(species=f"twin-{n}", pitch_hz=(2600, 2800), pulse_rate=None, references=3)
        for n in range(MOST_NAMED + 1)
    ]
    assert hint(band(), *twins[:-1]).species == ("twin-0", "twin-1", "twin-2")
    assert hint(band(), *twins) == Hint(
        silence=Silence.TOO_MANY, because=("twin-0", "twin-1", "twin-2", "twin-3")
    )


def test_memory_and_species_off_the_checklist_only_keep_it_silent():
    remembered = CallRange(species="ornate", pitch_hz=(2500, 2800), pulse_rate=None)
    stranger = CallRange(species="bird", pitch_hz=(2500, 2800), pulse_rate=None, listed=False)
    measured = CallRange(
        species="cricket", pitch_hz=(2500, 2800), pulse_rate=None, listed=False, references=3
    )
    alone = Hint(silence=Silence.UNPROVEN, because=("ornate",))
    assert hint(band(), remembered) == hint(band(), PEEPER, remembered) == alone
    for other in (stranger, measured):
        found = hint(band(), PEEPER, remembered, other)
        assert found == Hint(silence=Silence.NOT_LISTED, because=(other.species,))


def test_what_is_known_of_no_pulses_keeps_both_kinds_silent():
    unknown = CallRange(
        species="leopard", pitch_hz=(2500, 2800), pulse_rate=None, of_any_rate=True, listed=False
    )
    for heard in (band(), band(pulse_rate=16.0)):
        assert hint(heard, PEEPER, BOREAL, unknown).because == ("leopard",)


def test_a_band_without_one_pitch_fits_by_both_edges():
    wide = band(pitch_hz=None, low_hz=2500, high_hz=3000, pulse_rate=16.0)
    assert hint(wide, BOREAL).species == ("boreal",)
    higher = band(pitch_hz=None, low_hz=2500, high_hz=3300, pulse_rate=16.0)
    assert hint(higher, BOREAL).silence is Silence.NOTHING_FITS
    wider = band(pitch_hz=None, low_hz=2000, high_hz=3000, pulse_rate=16.0)
    assert hint(wider, BOREAL).silence is Silence.NO_PITCH


def test_the_limits_of_several_callers_are_wider():
    heard = {"pitch_hz": 3100 * 1.05}
    assert hint(band(**heard), PEEPER).silence is Silence.NOTHING_FITS
    assert hint(band(**heard, several=True), PEEPER).species == ("peeper",)


def test_pulses_of_one_fast_rate_in_several_bands_are_an_engine():
    toad = CallRange(species="toad", pitch_hz=(1800, 2300), pulse_rate=(70, 160), references=3)
    fast = [band(pitch_hz=hz, pulse_rate=90.0) for hz in (2000.0, 700.0)]
    assert {one.silence for one in hints(fast, [toad], 20)} == {Silence.ENGINE}
    fast[1] = band(pitch_hz=700.0, pulse_rate=60.0)
    assert hints(fast, [toad], 20)[0].species == ("toad",)
    slow = [band(pitch_hz=hz, pulse_rate=22.0) for hz in (2700.0, 1300.0)]
    assert hints(slow, [BOREAL], 20)[0].species == ("boreal",)


def test_a_range_of_reference_calls_is_that_at_twenty_degrees():
    samples = [
        Sample(pitch_hz=(2700, 2700), pulse_rate=20 * tempo(celsius, 20), celsius=celsius)
        for celsius in (10, 15, 25)
    ]
    known = measured_range("boreal", samples, listed=True)
    assert known.pulse_rate == pytest.approx((20 * 0.88, 20 * 1.12))
    assert known.pitch_hz == pytest.approx((2700 * 0.92, 2700 * 1.08))
    assert known.note_s is None
    rising = [
        replace(one, rise=share) for one, share in zip(samples, (0.02, 0.05, None), strict=True)
    ]
    rise = measured_range("boreal", rising, listed=True).rise
    assert rise == pytest.approx((0.005, 0.065))
    longer = [
        replace(one, note_s=length) for one, length in zip(samples, (1.0, 0.8, None), strict=True)
    ]
    lengths = measured_range("boreal", longer, listed=True).note_s
    assert lengths == pytest.approx((0.8 / 1.7, 1.7))
    # Its pulses could not be measured, or it has no temperature: it says nothing.
    unmeasured = Sample(pitch_hz=(3500, 3500), pulse_rate=None, celsius=10)
    unknown = Sample(pitch_hz=(3500, 3500), pulse_rate=20, celsius=None)
    assert measured_range("boreal", [*samples, unmeasured, unknown], listed=True) == known
    assert measured_range("boreal", samples[1:], listed=True) is None
    assert measured_range("boreal", [*samples[1:], unknown], listed=True) is None
    assert measured_range("boreal", [*samples, *[unmeasured] * 3], listed=True) is None


def test_what_the_catalog_remembers():
    def of(code, peaks):
        return remembered_ranges(code, peaks, call_of(code), listed=True)

    (peeper,) = of("pseudacris-crucifer", "2500-3100")
    assert (peeper.pulse_rate, peeper.of_any_rate, peeper.references) == (None, False, 0)
    low, high = of("dryophytes-versicolor", "1000-1200 + 2000-2400")
    # 22 pulses a second at 20 °C, from memory, and 30 % on either side.
    assert low.pulse_rate == high.pulse_rate == pytest.approx((15.4, 28.6))
    # Notes in a row may be taken for pulses; of a species without a call, all may be.
    assert of("acris-crepitans", "3300-4100")[0].of_any_rate
    assert of("lithobates-pipiens", "400-1100")[0].of_any_rate
    assert of("lithobates-pipiens", "") == ()


def test_notes_are_counted_and_how_they_rise():
    """A whistle that stays on its pitch does not rise."""
    wave = sung([Caller(pitch_hz=2800, note_s=0.3, rest_s=0.6)], snr_db=20, seconds=10.0)
    (heard,) = measure(wave).bands
    assert heard.note_count in (10, 11)
    assert heard.rise == pytest.approx(0, abs=0.003)
    assert heard.note_spread < 0.1
