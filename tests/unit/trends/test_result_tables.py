"""Results as rows of a publication, and back."""

import dataclasses
import datetime as dt

import pytest

from surveys.trends import estimates
from surveys.trends.columns import CORRECTED_COLUMNS
from surveys.trends.community import NOT_TOLD
from surveys.trends.estimates import Estimate
from surveys.trends.null_run import NullRun
from surveys.trends.result_tables import (
    corrected_row,
    null_row,
    null_run_from_row,
    occupancy_rows,
    result_from_rows,
    sensitivity_rows,
    trend_row,
)
from surveys.trends.species_result import (
    ChorusTrend,
    SensitivityLine,
    SpeciesResult,
    SpeciesYear,
    Trend,
    WholeProgram,
)


def estimate(value, low, high, *flags):
    return Estimate(
        name="x", value=value, low=low, high=high, interval="exact", method="by hand", flags=flags
    )


APRIL, JUNE = dt.date(2023, 4, 2), dt.date(2023, 6, 9)
YEARS = (
    SpeciesYear(
        season_year=2022, sites=40, sites_heard=0, first_night=None, last_night=None,
        naive=estimate(0.0, 0.0, 0.09), occupancy=estimate(None, None, None, "never-heard"),
        detection=estimate(None, None, None, "never-heard", "too-few-data"), detection_model="a",
    ),
    SpeciesYear(
        season_year=2023, sites=41, sites_heard=12, first_night=APRIL, last_night=JUNE,
        naive=estimate(12 / 41, 0.18, 0.44), occupancy=estimate(0.4, 0.3, 0.5, "one-sided"),
        occupancy_by_route=estimate(0.4, 0.2, 0.6, "few-clusters"),
        detection=estimate(0.6, 0.5, 0.7), detection_model="b",
    ),
)  # fmt: skip
RESULT = SpeciesResult(
    years=YEARS,
    trend=Trend(
        log_odds=estimate(-0.1, -0.2, 0.0),
        occupancy=estimate(-5.0, -9.0, 0.1, "did-not-converge"),
        line=((2023, estimate(0.41, 0.3, 0.5)),),
        naive=estimate(-4.0, -8.0, 0.2),
        naive_line=((2022, estimate(0.3, 0.2, 0.4)), (2023, estimate(0.29, 0.2, 0.4))),
        detection_model="night",
        occupancy_model="year",
    ),
)


def numbers(estimate):
    return estimate.value, estimate.low, estimate.high


@pytest.fixture(scope="module")
def again():
    rows = list(occupancy_rows("x", "stop", RESULT))
    nights = {2023: (APRIL, JUNE)}
    return result_from_rows(rows, trend_row("x", "stop", RESULT), nights)


def test_years_come_back_as_far_as_the_tables_hold_them(again):
    for year, copy in zip(YEARS, again.years, strict=True):
        for name in ("naive", "occupancy", "detection"):
            assert numbers(getattr(copy, name)) == numbers(getattr(year, name))
        for name in (
            "season_year", "sites", "sites_heard", "first_night", "last_night", "detection_model",
            "flags",
        ):  # fmt: skip
            assert getattr(copy, name) == getattr(year, name)


def test_trend_comes_back_with_both_lines(again):
    trend, copy = RESULT.trend, again.trend
    for name in ("log_odds", "occupancy", "naive", "odds"):
        assert numbers(getattr(copy, name)) == numbers(getattr(trend, name))
    for name in ("line", "naive_line"):
        assert [(year, numbers(share)) for year, share in getattr(copy, name)] == [
            (year, numbers(share)) for year, share in getattr(trend, name)
        ]
    assert copy.occupancy.flags == trend.occupancy.flags
    assert copy.occupancy.interval == trend.occupancy.interval
    assert copy.occupancy.method == trend.occupancy.method
    assert (copy.detection_model, copy.occupancy_model) == (
        trend.detection_model,
        trend.occupancy_model,
    )


def test_what_the_tables_do_not_hold_is_not_there(again):
    trend = again.trend
    assert trend.points is None
    assert (trend.detection_models, trend.occupancy_models) == ((), ())
    assert (trend.effects, trend.silent_kinds, again.filled) == ((), (), ())
    parts = (again.fit_check, again.turnover, again.index, again.phenology)
    assert all(part is None for part in parts)
    assert [year.effort for year in again.years] == [None, None]
    assert (trend.naive.interval, trend.naive.method) == ("", "")


def test_pooled_change_and_scatter_come_back():
    full = dataclasses.replace(
        RESULT.trend, pooled=estimate(-6.0, -7.0, -5.0), scatter=estimate(0.2, 0.1, None)
    )
    row = trend_row("x", "stop", dataclasses.replace(RESULT, trend=full))
    copy = result_from_rows((), row, {}).trend
    assert (numbers(copy.pooled), numbers(copy.scatter)) == ((-6, -7, -5), (0.2, 0.1, None))
    assert (copy.pooled.interval, copy.pooled.method) == ("exact", "by hand")
    assert copy.pooled.level == 0.95


def test_the_whole_program_comes_back_or_why_it_is_not_told():
    whole = WholeProgram(
        change=estimate(-3.0, -5.0, -1.0, "region-silent"),
        shares=((2023, estimate(0.3, 0.2, 0.4)),),
    )
    refused = WholeProgram(change=estimate(None, None, None, "region-few-routes"), shares=())
    for told in (whole, refused):
        result = dataclasses.replace(RESULT, whole=told)
        years = list(occupancy_rows("x", "stop", result))
        back = result_from_rows(years, trend_row("x", "stop", result), {}).whole
        assert numbers(back.change) == numbers(told.change)
        assert back.change.flags == told.change.flags
        assert [(year, numbers(share)) for year, share in back.shares] == [
            (year, numbers(share)) for year, share in told.shares
        ]
    assert result_from_rows((), trend_row("x", "stop", RESULT), {}).whole is None


def test_the_trend_of_full_chorus_comes_back_or_why_it_is_not_told():
    changes = estimate(-3.0, -5.0, -1.0, "gap-years"), estimate(-6.0, -9.0, -2.0, "gap-years")
    refused = (estimate(None, None, None, "too-few-data"),) * 2
    for full, odds in (changes, refused):
        result = dataclasses.replace(RESULT, chorus=ChorusTrend(full_chorus=full, index_odds=odds))
        back = result_from_rows((), trend_row("x", "stop", result), {}).chorus
        for found, told in ((back.full_chorus, full), (back.index_odds, odds)):
            assert (numbers(found), found.flags) == (numbers(told), told.flags)
    assert result_from_rows((), trend_row("x", "stop", RESULT), {}).chorus is None


def test_null_runs_come_back():
    run = NullRun(runs=200, fell=7, rose=2)
    whole = NullRun(runs=200, fell=1, rose=4)
    for one in (run, dataclasses.replace(run, whole=whole)):
        assert null_run_from_row(null_row("x", one)) == one


def test_species_without_rows_has_no_numbers():
    nothing = result_from_rows((), {}, {})
    assert nothing.years == ()
    assert numbers(nothing.trend.occupancy) == (None, None, None)
    assert nothing.trend.line == ()


def test_first_and_last_year_of_the_trend():
    told = dataclasses.replace(RESULT.trend, first_year=2022, last_year=2023, breaks=(2022, 2023))
    row = trend_row("x", "stop", dataclasses.replace(RESULT, trend=told))
    assert (row["first_year"], row["last_year"]) == (2022, 2023)
    assert row["breaks"] == "2022; 2023"
    assert row["method"] == "exact; by hand"
    back = result_from_rows((), row, {}).trend
    assert (back.first_year, back.last_year, back.breaks) == (2022, 2023, (2022, 2023))
    assert trend_row("x", "stop", RESULT)["first_year"] is None


def test_lines_under_other_choices_come_back_from_their_rows():
    lines = (
        SensitivityLine(name="all-data", change=estimate(-2.0, -3.0, -1.0), routes=12, seasons=9),
        SensitivityLine(
            name="by route", change=estimate(-1.0, -3.0, 1.0, "gap-years"), routes=12, seasons=9,
            applies=False,
        ),
    )  # fmt: skip
    rows = list(sensitivity_rows("x", "stop", dataclasses.replace(RESULT, sensitivity=lines)))
    assert [row["number"] for row in rows] == [1, 2]
    back = result_from_rows((), {}, {}, rows).sensitivity
    for line, found in zip(lines, back, strict=True):
        assert (found.name, found.routes, found.seasons, found.applies) == (
            line.name, line.routes, line.seasons, line.applies,
        )  # fmt: skip
        for name in ("value", "low", "high", "flags"):
            assert getattr(found.change, name) == getattr(line.change, name)


def test_a_row_of_occupancy():
    assert list(occupancy_rows("x", "stop", RESULT))[1] == {
        "species": "x", "site": "stop", "season_year": 2023, "sites": 41, "sites_heard": 12,
        "naive": 12 / 41, "naive_low": 0.18, "naive_high": 0.44,
        "occupancy": 0.4, "occupancy_low": 0.3, "occupancy_high": 0.5,
        "detection": 0.6, "detection_low": 0.5, "detection_high": 0.7, "borrowed_from": None,
        "trend": 0.41, "trend_low": 0.3, "trend_high": 0.5,
        "naive_trend": 0.29, "naive_trend_low": 0.2, "naive_trend_high": 0.4,
        "whole": None, "whole_low": None, "whole_high": None,
        "detection_model": "b", "method": "exact; by hand", "flags": "one-sided",
    }  # fmt: skip


def test_a_row_of_trends():
    full = dataclasses.replace(
        RESULT.trend,
        pooled=estimate(-6.0, -7.0, -5.0),
        scatter=estimate(0.2, 0.1, None),
        first_year=2022,
        last_year=2023,
        breaks=(2023,),
    )
    assert trend_row("x", "route", dataclasses.replace(RESULT, trend=full)) == {
        "species": "x", "site": "route", "first_year": 2022, "last_year": 2023,
        "breaks": "2023", "told": False, "change": -5.0, "change_low": -9.0, "change_high": 0.1,
        "pooled_change": -6.0, "pooled_change_low": -7.0, "pooled_change_high": -5.0,
        "naive_change": -4.0, "naive_change_low": -8.0, "naive_change_high": 0.2,
        "log_odds": -0.1, "log_odds_low": -0.2, "log_odds_high": 0.0,
        "scatter": 0.2, "scatter_low": 0.1, "scatter_high": None,
        "whole_change": None, "whole_change_low": None, "whole_change_high": None,
        "whole_flags": "",
        "chorus_change": None, "chorus_change_low": None, "chorus_change_high": None,
        "index_odds_change": None, "index_odds_change_low": None, "index_odds_change_high": None,
        "chorus_flags": "",
        "detection_model": "night", "occupancy_model": "year",
        "method": "exact; by hand", "flags": "did-not-converge",
    }  # fmt: skip


@pytest.mark.parametrize("flag", sorted(NOT_TOLD))
def test_a_row_says_whether_its_change_is_told(flag):
    sure = dataclasses.replace(RESULT.trend.occupancy, flags=(estimates.GAP_YEARS,))

    def told(change):
        trend = dataclasses.replace(RESULT.trend, occupancy=change)
        return trend_row("x", "stop", dataclasses.replace(RESULT, trend=trend))["told"]

    assert told(sure) is True
    assert told(estimates.flagged(sure, flag)) is False
    assert told(dataclasses.replace(sure, value=None)) is False


def test_a_corrected_row():
    assert corrected_row("x", YEARS[1], estimate(0.3, 0.2, 0.4)) == {
        "species": "x", "season_year": 2023,
        "occupancy": 0.4, "occupancy_low": 0.3, "occupancy_high": 0.5,
        "route_low": 0.2, "route_high": 0.6,
        "whole": 0.3, "whole_low": 0.2, "whole_high": 0.4,
        "detection": 0.6, "detection_low": 0.5, "detection_high": 0.7, "borrowed_from": None,
        "interval": "exact", "method": "by hand",
        "flags": "one-sided; few-clusters",
    }  # fmt: skip


def test_corrected_row_follows_its_columns():
    row = corrected_row("x", YEARS[1])
    assert list(row) == [column.name for column in CORRECTED_COLUMNS]
    assert (row["occupancy_low"], row["route_low"], row["route_high"]) == (0.3, 0.2, 0.6)
    assert row["flags"] == "one-sided; few-clusters"
    assert corrected_row("x", YEARS[0])["route_low"] is None
