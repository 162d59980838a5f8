"""Cells in words and in the order of the sheet, and what changed between submissions."""

import pytest

from surveys.visits.sheet.cells import STOP_FIELDS
from surveys.web.sheets.history import (
    CellDifference,
    differences,
    place_words,
    typed_cells,
)

NAMES = {"pseudacris-crucifer": "Spring Peeper", "own.salinity": "Salinity"}


@pytest.mark.parametrize(
    ("address", "words"),
    [
        ("night", "Night"),
        ("rain_48h", "Rain in 48 h"),
        ("start.air_temperature", "At the start, air temperature"),
        ("end.sky", "At the end, sky"),
        ("stops.3.started_at", "Stop 3, started at"),
        ("stops.3.started_at.fold", "Stop 3, started at, first or second"),
        ("stops.12.calls.pseudacris-crucifer", "Stop 12, Spring Peeper"),
        ("stops.12.calls.never-seen", "Stop 12, never-seen"),
        ("sightings.2.life_stage", "Seen 2, life stage"),
        ("own.salinity", "Salinity"),
        ("stops.3.own.salinity", "Stop 3, Salinity"),
        ("stops.3.own.never_asked", "Stop 3, own.never_asked"),
        ("something.else", "Something.else"),
    ],
)
def test_place_in_words(address, words):
    assert place_words(address, NAMES) == words


def test_cells_come_in_the_order_of_the_sheet():
    expected = [
        "night",
        "notes",
        "own.salinity",
        "start.sky",
        "end.air_temperature",
        *(f"stops.2.{name}" for name in STOP_FIELDS),
        "stops.2.calls.a",
        "stops.10.status",
        "sightings.1.species",
        "stray",
    ]
    cells = dict.fromkeys(reversed(expected), "x")
    assert [cell.address for cell in typed_cells(cells, NAMES)] == expected


def test_blank_cells_are_left_out():
    assert typed_cells({"night": "2024-04-15", "notes": "  "}, NAMES)[0].text == "2024-04-15"
    assert len(typed_cells({"night": "2024-04-15", "notes": "  "}, NAMES)) == 1


def test_differences_name_what_was_changed_added_and_blanked():
    before = {"notes": "Mild.", "stops.1.paused_minutes": "2", "stops.2.paused_minutes": "3"}
    after = {"notes": "Mild.", "stops.1.paused_minutes": "4", "stops.3.paused_minutes": "1"}
    assert differences(before, after, NAMES) == (
        CellDifference(place="Stop 1, paused minutes", before="2", after="4"),
        CellDifference(place="Stop 2, paused minutes", before="3", after=""),
        CellDifference(place="Stop 3, paused minutes", before="", after="1"),
    )
