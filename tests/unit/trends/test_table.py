"""The yearly table, from listening periods and from counts."""

import dataclasses
import re
from datetime import date

import pytest

from surveys.trends import estimates
from surveys.trends.columns import COLUMNS, CORRECTED_COLUMNS, YEARLY_FLAGS
from surveys.trends.estimates import (
    FLAG_NAMES,
    FLAGS,
    INDEX_UNKNOWN,
    NEVER_HEARD,
    NO_EFFORT,
    TOO_FEW_DATA,
)
from surveys.trends.histories import ListeningPeriod
from surveys.trends.table import YearCounts, YearRow, row_values, year_row, yearly_table

SPECIES = "Pseudacris ornata"


def period(route, stop, night, index=None, *, year=2024, **more):
    return ListeningPeriod(
        route=route, stop=stop, season_year=year, night=night, call_index=index, **more
    )


def counts(**changes):
    values = {
        "species": SPECIES,
        "season_year": 2024,
        "routes": 2,
        "stops": 20,
        "visits": 6,
        "periods": 58,
        "stops_detected": 8,
        "stops_at_index": (3, 4, 1),
        "first_night": date(2023, 12, 20),
        "last_night": date(2024, 3, 2),
    }
    return YearCounts(**(values | changes))


class TestFromPeriods:
    records = (
        period("A", "1", date(2023, 12, 20), 1),
        period("A", "1", date(2024, 2, 1), 3),
        period("A", "2", date(2023, 12, 20), 0),
        period("A", "2", date(2024, 2, 1), 0),
        period("A", "3", date(2024, 2, 1), None),
        period("B", "1", date(2024, 1, 9), 2),
        period("B", "1", date(2024, 3, 9), 0, year=2025),
    )

    def test_one_row_a_season_year_in_order(self):
        rows = yearly_table(SPECIES, self.records)
        assert [row.season_year for row in rows] == [2024, 2025]

    def test_counts_leave_out_the_stop_not_reached(self):
        row = yearly_table(SPECIES, self.records)[0]
        assert (row.routes, row.stops, row.visits, row.periods) == (2, 3, 3, 5)
        assert row.stops_detected == 2
        assert row.naive_occupancy == pytest.approx(2 / 3)

    def test_each_stop_counts_at_its_highest_index(self):
        row = yearly_table(SPECIES, self.records)[0]
        assert row.share_index_1 == 0.0
        assert row.share_index_2 == pytest.approx(1 / 3)
        assert row.share_index_3 == pytest.approx(1 / 3)
        assert row.mean_index == pytest.approx(5 / 3)

    def test_routes_surveyed_on_the_same_night_are_visits_of_their_own(self):
        night, other = date(2024, 2, 1), date(2024, 2, 20)
        records = [
            period("A", "1", night, 0),
            period("A", "2", night, 0),
            period("B", "1", night, 0),
            period("B", "1", other, 0),
        ]
        (row,) = yearly_table(SPECIES, records)
        assert (row.species, row.routes, row.stops, row.visits, row.periods) == (
            SPECIES, 2, 3, 3, 4,
        )  # fmt: skip

    def test_two_visits_of_a_route_on_one_night_count_twice(self):
        night = date(2024, 2, 1)
        records = [period("A", "1", night, 0, visit_number=number) for number in (1, 2)]
        (row,) = yearly_table(SPECIES, records)
        assert (row.stops, row.visits, row.periods) == (1, 2, 2)

    def test_nights_across_new_year(self):
        row = yearly_table(SPECIES, self.records)[0]
        assert (row.first_night, row.last_night) == (date(2023, 12, 20), date(2024, 2, 1))

    def test_silent_season_has_zeros_and_no_nights(self):
        row = yearly_table(SPECIES, self.records)[1]
        assert (row.stops, row.stops_detected, row.naive_occupancy) == (1, 0, 0.0)
        assert (row.first_night, row.last_night) == (None, None)
        assert NEVER_HEARD in row.flags

    def test_index_shares_add_up_to_naive_occupancy(self):
        row = yearly_table(SPECIES, self.records)[0]
        total = row.share_index_1 + row.share_index_2 + row.share_index_3
        assert total == pytest.approx(row.naive_occupancy)

    def test_heard_without_index_is_flagged(self):
        heard = period("A", "1", date(2024, 2, 1), detected=True)
        row = yearly_table(SPECIES, [heard])[0]
        assert row.stops_detected == 1
        assert row.share_index_1 == 0.0
        assert INDEX_UNKNOWN in row.flags

    def test_no_periods_no_rows(self):
        assert yearly_table(SPECIES, []) == ()


class TestFromCounts:
    def test_row(self):
        row = year_row(counts())
        assert row.naive_occupancy == 0.4
        assert (row.share_index_1, row.share_index_2, row.share_index_3) == (0.15, 0.2, 0.05)
        assert row.mean_index == pytest.approx(14 / 20)
        assert row.flags == ()

    def test_no_effort_has_no_share(self):
        empty = counts(
            routes=0, stops=0, visits=0, periods=0, stops_detected=0, stops_at_index=(0, 0, 0)
        )
        row = year_row(dataclasses.replace(empty, first_night=None, last_night=None))
        assert (row.naive_occupancy, row.naive_low, row.mean_index) == (None, None, None)
        assert NO_EFFORT in row.flags

    def test_the_dictionary_has_every_flag_of_a_row(self):
        nowhere = {"first_night": None, "last_night": None, "stops_at_index": (0, 0, 0)}
        silent = counts(stops=9, stops_detected=0, **nowhere)
        without_index = counts(stops_at_index=(0, 0, 0))
        empty = counts(stops=0, stops_detected=0, **nowhere)
        flags = {flag for one in (silent, without_index, empty) for flag in year_row(one).flags}
        assert flags == {NO_EFFORT, TOO_FEW_DATA, NEVER_HEARD, INDEX_UNKNOWN}
        assert flags < set(YEARLY_FLAGS)

    def test_few_stops_are_flagged(self):
        row = year_row(counts(stops=9))
        assert TOO_FEW_DATA in row.flags

    @pytest.mark.parametrize(
        ("change", "words"),
        [
            ({"stops_detected": 21}, "successes"),
            ({"stops_at_index": (8, 1, 0)}, "cannot add up"),
            ({"stops_at_index": (-1, 1, 0)}, "cannot add up"),
            ({"last_night": None}, "both"),
            ({"last_night": date(2023, 12, 1)}, "is after"),
        ],
    )
    def test_contradictions_are_refused_with_species_and_year(self, change, words):
        with pytest.raises(ValueError, match=f"{SPECIES}, 2024.*{words}"):
            year_row(counts(**change))


class TestColumns:
    def test_every_field_has_a_column_and_the_other_way_round(self):
        assert [c.name for c in COLUMNS] == [f.name for f in dataclasses.fields(YearRow)]

    def test_values_obey_their_column(self):
        values = row_values(year_row(counts(stops=9)))
        kinds = {"string": str, "integer": int, "number": float, "date": date}
        for column in COLUMNS:
            value = values[column.name]
            assert isinstance(value, kinds[column.type])
            if column.minimum is not None:
                assert value >= column.minimum
            if column.maximum is not None:
                assert value <= column.maximum

    def test_ranges(self):
        """Of years, what the app takes for a season year (`web/publications`, the API)."""
        ranges = {column.name: (column.minimum, column.maximum) for column in COLUMNS}
        counts_of = ("routes", "stops", "visits", "periods", "stops_detected")
        shares = [name for name in ranges if name.startswith(("naive_", "share_"))]
        assert len(shares) == 6
        assert {name: limits for name, limits in ranges.items() if limits != (None, None)} == {
            "season_year": (1900, 2200),
            **dict.fromkeys(counts_of, (0, None)),
            **dict.fromkeys(shares, (0, 1)),
            "mean_index": (0, 3),
        }

    def test_units(self):
        assert {column.name: column.unit for column in COLUMNS} == {
            "species": "scientific name",
            "season_year": "year",
            "routes": "routes",
            "stops": "stops",
            "visits": "visits",
            "periods": "listening periods",
            "stops_detected": "stops",
            **dict.fromkeys(("naive_occupancy", "naive_low", "naive_high"), "share of stops"),
            **{f"share_index_{index}": "share of stops" for index in (1, 2, 3)},
            "mean_index": "call index",
            "first_night": "date",
            "last_night": "date",
            "flags": "codes",
        }

    def test_blank_is_what_cannot_be_said(self):
        never = ("species", "season_year", "routes", "stops", "visits", "periods", "stops_detected")
        assert [column.name for column in COLUMNS if column.required] == list(never)

    def test_flags_are_joined(self):
        row = year_row(counts(stops=9, stops_detected=0, stops_at_index=(0, 0, 0)))
        assert row_values(row)["flags"] == "too-few-data; never-heard"

    def test_every_column_explains_itself(self):
        for column in (*COLUMNS, *CORRECTED_COLUMNS):
            assert column.meaning.endswith(".")
            assert column.unit


def test_every_flag_is_explained_in_sentences():
    flags = {
        value
        for name, value in vars(estimates).items()
        if name.isupper() and name not in ("FLAGS", "FLAG_NAMES")
    }
    assert set(FLAGS) == set(FLAG_NAMES) == flags
    for flag, text in FLAGS.items():
        assert re.fullmatch(r"[a-z]+(-[a-z]+)*", flag), flag
        assert re.fullmatch(r"[a-zW][a-z0-9,% -]+", FLAG_NAMES[flag]), flag
        assert re.fullmatch(r"[A-Z][a-z].*\.", text), flag
        assert not re.search(r"[a-z][A-Z]", text), flag
