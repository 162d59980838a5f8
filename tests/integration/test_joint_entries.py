"""Joint entries from the sheet to the publication: no false zeros for their members."""

import csv
import io

import pytest

from surveys.fitting.histories import load_periods
from surveys.fitting.refit import refit
from surveys.fitting.stored import stored_fits
from surveys.publishing.files import text_of
from surveys.publishing.results import periods_of
from surveys.seasons.changed import what_changed
from surveys.seasons.joint_entries import told_in_groups
from surveys.seasons.yearly import yearly_table
from surveys.trends import wilson
from surveys.trends.estimates import FEW_NAMED, JOINT_ENTRY_TOLD, MEMBERS_TOLD, NAMING_CHANGED
from surveys.trends.from_tables import fit_species
from surveys.trends.periods import species_periods
from surveys.trends.result_tables import occupancy_rows, trend_row, yearly_rows
from surveys.trends.table import row_values
from tests.support.frozen import small_frozen
from tests.support.joint_entries import COPE, EITHER, GRAY, ROUTES, STOPS, YEARS, treefrog_program
from tests.support.publishing import publish_now

pytestmark = pytest.mark.django_db
ALL_STOPS, ALL_PERIODS = ROUTES * STOPS, ROUTES * STOPS * 2


def yearly(program):
    return {(row.species, row.season_year): row for row in yearly_table(program)}


def test_records_moved_to_the_joint_entry_make_no_zeros():
    """Half of one year's records of a member become records of the joint entry. Its share of that
    year must not fall for it: the other years stay, the joint entry loses nothing, and the year
    itself, in which silence says too little, has no share."""
    world = treefrog_program(unnamed=0.5)
    table = yearly(world.program)
    assert len(world.joint) >= 6
    for year in YEARS:
        heard = world.stops_heard(year)
        assert table[EITHER, year].stops_detected == heard
        assert table[EITHER, year].naive_occupancy == heard / ALL_STOPS
        assert table[EITHER, year].periods == ALL_PERIODS
        assert table[GRAY, year].periods == ALL_PERIODS - sum(c[0] == year for c in world.joint)
        assert table[COPE, year].periods == table[GRAY, year].periods
    for year in (2022, 2024):
        assert table[GRAY, year].naive_occupancy == table[EITHER, year].naive_occupancy
        assert FEW_NAMED not in table[GRAY, year].flags
    year = table[GRAY, 2023]
    assert (year.naive_occupancy, year.share_index_2, year.mean_index) == (None, None, None)
    assert FEW_NAMED in year.flags
    # What it would have said.
    assert year.stops_detected / ALL_STOPS < 0.8 * table[EITHER, 2023].naive_occupancy


def test_a_few_such_records_leave_the_share_within_chance():
    """Up to a fifth of the year's records: its share is told, and is that of the stops whose
    periods are not missing."""
    world = treefrog_program(unnamed=0.15)
    row = yearly(world.program)[GRAY, 2023]
    named = {(c[1], c[3]) for c in world.heard - world.joint if c[0] == 2023}
    missing = {
        stop
        for stop in {(c[1], c[3]) for c in world.joint}
        if all((2023, stop[0], visit, stop[1]) in world.joint for visit in range(2))
    }
    assert (row.stops_detected, row.stops) == (len(named), ALL_STOPS - len(missing))
    before = wilson(world.stops_heard(2023), ALL_STOPS, name="before")
    assert before.low <= row.naive_occupancy <= before.high
    assert FEW_NAMED not in row.flags
    fitted = species_periods(load_periods(world.program), world.gray.pk).columns
    in_year = fitted.season_year == 2023
    assert in_year.sum() == ALL_PERIODS - len(world.joint)
    assert fitted.heard[in_year].sum() == sum(c[0] == 2023 for c in world.heard - world.joint)


def test_fits_know_it_too():
    world = treefrog_program(unnamed=0.5)
    refit(world.program)
    results = {fit.species: fit.result for fit in stored_fits(world.program)}
    gray, either = results[world.gray], results[world.either]
    assert [year.season_year for year in gray.years] == [2022, 2024]
    assert [year.season_year for year in either.years] == list(YEARS)
    assert [year.sites_heard for year in either.years] == [world.stops_heard(y) for y in YEARS]
    assert [year.sites_heard for year in gray.years] == [world.stops_heard(y) for y in (2022, 2024)]
    # 80% of all records or more name a species: the species are told, the joint entry is not.
    (told,) = told_in_groups(world.program)
    assert (told.named, told.records) == (len(world.heard - world.joint), len(world.heard))
    assert told.tells_members
    assert MEMBERS_TOLD in either.trend.occupancy.flags
    assert MEMBERS_TOLD in either.years[0].flags
    assert FEW_NAMED in gray.trend.occupancy.flags
    assert not any(FEW_NAMED in year.occupancy.flags for year in gray.years)
    assert JOINT_ENTRY_TOLD not in gray.trend.occupancy.flags


def test_the_joint_entry_is_told_where_most_records_name_none():
    world = treefrog_program(unnamed=1.0, unnamed_year=2024)
    (told,) = told_in_groups(world.program)
    assert not told.tells_members
    # Its species were heard there before.
    assert {change.species for change in what_changed(world.program, 2024).new} == set()
    assert (told.changed, told.unnamed_years) == (True, {2024})
    table = yearly(world.program)
    for year in YEARS:
        assert {JOINT_ENTRY_TOLD, NAMING_CHANGED} <= set(table[GRAY, year].flags)
        assert {JOINT_ENTRY_TOLD, NAMING_CHANGED} <= set(table[COPE, year].flags)
        assert NAMING_CHANGED in table[EITHER, year].flags
        assert MEMBERS_TOLD not in table[EITHER, year].flags
    # What was known before the last year is told as it was known then.
    (before,) = told_in_groups(world.program, last_year=2023)
    assert (before.tells_members, before.changed) == (True, False)


def test_the_frozen_tables_carry_all_of_it(tmp_path):
    world = treefrog_program(unnamed=0.5)
    frozen = small_frozen(tmp_path, program=world.program)
    periods = periods_of(frozen)
    assert periods.told == told_in_groups(world.program, last_year=2024)
    again = [row_values(row) for row in yearly_table(world.program, last_year=2024)]
    assert list(yearly_rows(periods)) == again
    fits = list(fit_species(periods))
    rows = [row for fit in fits for row in occupancy_rows(*fit)]
    assert [row["season_year"] for row in rows if row["species"] == GRAY] == [2022, 2024] * 2
    assert [row["season_year"] for row in rows if row["species"] == EITHER] == list(YEARS) * 2
    flags = {row["species"]: row["flags"] for row in (trend_row(*fit) for fit in fits)}
    assert FEW_NAMED in flags[GRAY]
    assert MEMBERS_TOLD in flags[EITHER]


def test_a_publication_says_what_was_written_down():
    world = treefrog_program(unnamed=0.5)
    publication = publish_now(world.coordinator, 2024)

    def rows(table):
        return list(csv.DictReader(io.StringIO(text_of(publication, f"data/{table}.csv"))))

    (entry,) = [row for row in rows("checklist") if row["species"] == EITHER]
    assert entry["members"] == f"{COPE}; {GRAY}"
    calls = rows("calls")
    recorded = [row for row in calls if row["recorded_index"]]
    assert len(recorded) == len(world.heard)
    assert sum(row["species"] == EITHER for row in recorded) == len(world.joint)
    by_period = {}
    for row in calls:
        by_period.setdefault(row["period"], {})[row["species"]] = row
    for period in by_period.values():
        gray, cope, either = (period[name] for name in (GRAY, COPE, EITHER))
        if either["recorded_index"]:
            assert (gray["call_index"], cope["call_index"]) == ("", "")
        else:
            assert either["call_index"] == gray["call_index"]
            assert cope["call_index"] == "0"
