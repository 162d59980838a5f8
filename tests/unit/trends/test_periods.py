"""Who was listened for, when, and in which season."""

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest

from surveys.trends import PeriodColumns, build_histories
from surveys.trends.periods import (
    HYDROPERIOD,
    WATER,
    Heard,
    Listed,
    ProgramPeriods,
    calling_season,
    species_periods,
)

NIGHTS = [
    dt.date(2023, 11, 30),
    dt.date(2023, 12, 1),
    dt.date(2024, 2, 29),
    dt.date(2024, 3, 1),
    dt.date(2024, 7, 1),
]
NEVER = Heard(at=np.array([], dtype=np.int64), index=np.array([]))


def program(listed, heard=NEVER, regions=("North",) * 5):
    count = len(NIGHTS)
    nights = np.array([night.toordinal() for night in NIGHTS])
    return ProgramPeriods(
        columns=PeriodColumns(
            route=np.arange(count),
            stop=np.arange(count),
            season_year=np.full(count, 2024),
            night=nights,
            visit_number=np.ones(count, dtype=np.int64),
            call_index=np.zeros(count),
            heard=np.zeros(count),
            covariates={"wind": np.arange(5.0)},
        ),
        day=nights - dt.date(2023, 9, 1).toordinal(),
        region=np.array(regions),
        heard={7: heard},
        listed={7: listed},
        stops={"fish": {0: "yes", 1: "no", 99: "yes"}},
    )


def listed(since=None, until=None, season=None):
    return Listed(since=since, until=until, season=season)


@pytest.mark.parametrize(
    ("season", "inside"),
    [
        (None, [0, 1, 2, 3, 4]),
        (((12, 1), (2, 29)), [1, 2]),
        (((11, 30), (3, 1)), [0, 1, 2, 3]),
        (((2, 29), (3, 1)), [2, 3]),
        (((3, 1), (6, 30)), [3]),
        (((8, 1), (9, 1)), []),
    ],
    ids=["any time", "over New Year", "both ends count", "leap day", "spring", "no night"],
)
def test_calling_season(season, inside):
    own = species_periods(program(listed(season=season)), 7)
    assert np.flatnonzero(own.in_season).tolist() == inside
    assert calling_season(own).night.tolist() == [NIGHTS[i].toordinal() for i in inside]


@pytest.mark.parametrize(
    ("entry", "kept"),
    [
        (listed(), [0, 1, 2, 3, 4]),
        (listed(since=NIGHTS[1]), [1, 2, 3, 4]),
        (listed(until=NIGHTS[1]), [0, 1]),
        (listed(since=NIGHTS[1], until=NIGHTS[2]), [1, 2]),
    ],
)
def test_only_nights_on_the_checklist(entry, kept):
    assert species_periods(program(entry), 7).columns.stop.tolist() == kept


def test_a_year_whose_records_do_not_name_the_species_is_not_fitted():
    """The yearly table still counts its listening periods."""
    whole = program(listed())
    own = species_periods(replace(whole, unnamed_years={7: frozenset({2024})}), 7)
    assert len(own.columns.stop) == len(NIGHTS)
    assert not own.in_season.any()
    assert len(calling_season(own).night) == 0
    other = species_periods(replace(whole, unnamed_years={7: frozenset({2023}), 8: {2024}}), 7)
    assert other.in_season.all()
    assert own.sha256 != other.sha256 == species_periods(whole, 7).sha256


def test_zeros_indices_and_what_is_missing():
    heard = Heard(at=np.array([1, 3]), index=np.array([2.0, np.nan]))
    own = species_periods(program(listed(), heard), 7)
    assert own.columns.stop.tolist() == [0, 1, 2, 4]
    assert own.columns.call_index.tolist() == [0, 2, 0, 0]
    assert own.columns.heard.tolist() == [0, 1, 0, 0]
    assert build_histories(own.columns).detected.tolist() == [[0], [1], [0], [0]]


def test_regions():
    given = program(listed(), regions=("North", "South", "", "South", "North"))
    assert given.regions == ["North", "South"]
    assert species_periods(given, 7, region="South").columns.stop.tolist() == [1, 3]


def test_night_counts_from_the_middle_of_the_calling_season():
    own = species_periods(program(listed(season=((12, 1), (3, 1)))), 7)
    middle = NIGHTS[2].toordinal()
    expected = [(night.toordinal() - middle) / 10 for night in NIGHTS]
    np.testing.assert_allclose(own.columns.covariates["night"], expected)
    np.testing.assert_allclose(own.columns.covariates["night squared"], np.square(expected))


def test_what_is_known_of_stops_goes_into_the_checksum():
    given = program(listed(until=NIGHTS[2]))
    own = species_periods(given, 7)
    assert own.stops == {"fish": {0: "yes", 1: "no"}}
    other = replace(given, stops={"fish": {0: "yes", 1: "yes"}})
    elsewhere = replace(given, stops={"fish": {0: "yes", 1: "no", 99: "no"}})
    assert species_periods(other, 7).sha256 != own.sha256
    assert species_periods(elsewhere, 7).sha256 == own.sha256


def test_words_of_the_sheet_as_amounts():
    assert WATER == {"dry": 0, "pools": 1, "full": 2}
    assert HYDROPERIOD == {"weeks": 0, "season": 1, "most_years": 2, "always": 3}


def test_a_species_off_the_checklist_is_an_error():
    with pytest.raises(KeyError):
        species_periods(program(listed()), 8)
