"""The ranges shown beside the presets against limits that were published, work by work.

A value is what the work asks for. Those in FROM_MEMORY were not read again in the work itself.
"""

import json
from decimal import Decimal
from pathlib import Path

import pytest

from surveys.protocol.presets import measured, presets_from_plain

FIXTURE = Path(__file__).parents[3] / "fixtures" / "protocol_presets.json"
OFFERED = presets_from_plain(json.loads(FIXTURE.read_text("utf-8")))
PUBLISHED = {entry.field: entry for entry in OFFERED.published}

HALF_A_MILE, TWO_MILES = Decimal("804.672"), Decimal("3218.688")


def fahrenheit(*degrees):
    return [(Decimal(value) - 32) / Decimal("1.8") for value in degrees]


# Weir & Mossman 2005, in Lannoo (ed.), Amphibian Declines, Univ. California Press, 307-313
ROADSIDE = {
    "settling_wait": [0],
    "listening_time": [5],
    "earliest_start_after_sunset": [30],
    "latest_end_clock": [1],
    "min_stops": [10],
    "min_stop_spacing_m": [800],
    "windows.min_air_temperature": fahrenheit(42, 50, 55),
    "max_beaufort": [3],
}
# Mossman, Hartman, Hay, Sauer & Dhuey 1998, in Lannoo (ed.), Status and Conservation of Midwestern
# Amphibians, Univ. Iowa Press, 169-198
ROADSIDE_BY_WATER = {
    "listening_time": [5],
    "longest_listening_time": [10],
    "earliest_start_after_sunset": [0],
    "latest_end_after_sunset": [120, 180],
    "min_stops": [10],
    "min_stop_spacing_m": [HALF_A_MILE, TWO_MILES],
    "windows.min_water_temperature": fahrenheit(50, 60, 70),
    "max_beaufort": [2],
}
# Crewe et al. 2006; Tozer 2013; 17 °C is given as 63 °F too
WETLAND_POINTS = {
    "listening_time": [3],
    "listening_radius_m": [100],
    "earliest_start_after_sunset": [30],
    "latest_end_clock": [0],
    "min_stops": [1],
    "min_stop_spacing_m": [500],
    "windows.min_air_temperature": [5, 10, 17, *fahrenheit(63)],
    "max_beaufort": [3],
    "min_days_between_visits": [15],
}
# Amphibian Calling Survey Standard Operating Procedures, unsigned public document, no year
WETLAND_POINTS_WITH_WAIT = {
    "settling_wait": [1, 2],
    "listening_time": [3],
    "listening_radius_m": [50, 100],
    "longest_listening_time": [5],
    "earliest_start_after_sunset": [30],
    "latest_end_after_sunset": [270],
    "min_stops": [1],
    "min_stop_spacing_m": [500],
    "windows.min_air_temperature": [5, 10, 17],
    "min_days_between_visits": [15],
}
# Johnson & Batie 2001, Prairie Naturalist 33:227-247
LONG_LISTENING = {
    "listening_time": [10],
    "earliest_start_after_sunset": [0],
    "min_stop_spacing_m": [800],
}
# Lepage, Courtois, Daigle & Matte 1997, Herpetological Conservation 1:128-140; from memory
EIGHT_STOPS = {"listening_time": [3], "min_stops": [8]}
WORKS = (
    ROADSIDE,
    ROADSIDE_BY_WATER,
    WETLAND_POINTS,
    WETLAND_POINTS_WITH_WAIT,
    LONG_LISTENING,
    EIGHT_STOPS,
)
MEASURED = sorted(entry.field for entry in OFFERED.published if entry.measure)


@pytest.mark.parametrize("field", MEASURED)
def test_a_range_reaches_from_the_lowest_to_the_highest_published_value(field):
    values = [Decimal(value) for work in WORKS for value in work.get(field, ())]
    entry = PUBLISHED[field]
    assert float(min(values)) == pytest.approx(float(entry.lowest), abs=1e-4)
    if entry.highest is not None:
        assert float(max(values)) == pytest.approx(float(entry.highest), abs=1e-4)


@pytest.mark.parametrize("preset", OFFERED.presets, ids=lambda preset: preset.code)
@pytest.mark.parametrize("work", WORKS[:5], ids=range(1, 6))
def test_no_preset_is_the_protocol_of_one_work(preset, work):
    """Where both say something, at least one value is another."""
    ours = {field: list(measured(preset.protocol, PUBLISHED[field])) for field in work}
    assert any(
        found and found != [Decimal(v) for v in work[field]] for field, found in ours.items()
    )


def test_works_differ_in_every_field_that_has_a_range():
    for field in MEASURED:
        if PUBLISHED[field].highest is not None:
            assert (
                len({str(work[field]) for work in WORKS if field in work}) > 1
                or len(next(work[field] for work in WORKS if field in work)) > 1
            )
