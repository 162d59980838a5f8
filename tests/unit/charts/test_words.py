"""Sentences about trends: direction only where the interval leaves out zero."""

import dataclasses

import pytest

from surveys.charts.chart_alt import chart_alt
from surveys.charts.words import (
    change_with_interval,
    days_words,
    direction,
    flags_in_words,
    headline,
    share,
    share_with_interval,
    signed,
    trend_line,
    trend_sentence,
    written_change,
)
from surveys.trends import Estimate
from surveys.trends.estimates import (
    DID_NOT_CONVERGE,
    EDGE_OF_RANGE,
    FEW_CLUSTERS,
    FLAG_NAMES,
    JOINT_ENTRY_TOLD,
    MEMBERS_TOLD,
    NEVER_HEARD,
    NO_EFFORT,
    NO_REPEAT_VISITS,
    NOT_IDENTIFIED,
    OPEN_SEASON,
    POOR_FIT,
    PROTOCOL_CHANGED,
    TOO_FEW_DATA,
    YEARS_LEFT_OUT,
)
from surveys.trends.species_result import SpeciesResult, SpeciesYear, Trend


def estimate(value, low=None, high=None, *flags):
    return Estimate(name="", value=value, low=low, high=high, interval="", method="", flags=flags)


def plain(text):
    return text.replace("\N{NO-BREAK SPACE}", " ").replace("\N{MINUS SIGN}", "-")


UNKNOWN = estimate(None, None, None, NO_REPEAT_VISITS)
OCCUPIED = estimate(0.4, 0.3, 0.5)


def result(change, naive=UNKNOWN, years=(2014, 2025), occupancy=OCCUPIED):
    line = tuple(zip((2014, 2025), (estimate(0.41), estimate(0.18)), strict=True))
    return SpeciesResult(
        years=tuple(
            SpeciesYear(
                season_year=year, sites=10, sites_heard=3, first_night=None, last_night=None,
                naive=estimate(0.3, 0.1, 0.6), occupancy=occupancy,
                detection=estimate(0.5, 0.3, 0.7), detection_model="",
            )
            for year in years
        ),
        trend=Trend(
            log_odds=change, occupancy=change, points=change, line=line,
            naive=naive, naive_line=line, detection_model="", occupancy_model="",
        ),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("value", "text"),
    [(None, ""), (0, "0%"), (0.004, "0.4%"), (0.0994, "9.9%"), (0.0996, "10%"), (1, "100%")],
)
def test_share(value, text):
    assert plain(share(value)) == text


@pytest.mark.parametrize(
    ("value", "text"), [(-2.14, "-2.1"), (0.04, "0.0"), (-0.04, "0.0"), (3, "+3.0")]
)
def test_signed(value, text):
    assert plain(signed(value)) == text


@pytest.mark.parametrize(
    ("given", "text"),
    [
        (estimate(0.4, 0.28, 0.6), "40% (28 to 60%)"),
        (estimate(None, 0.29, 1.0), "between 29 and 100%"),
        (estimate(None, 0.0, 1.0), "not enough data"),
        (estimate(None), "not enough data"),
        (estimate(0.3), "30%"),
    ],
)
def test_share_with_interval(given, text):
    assert plain(share_with_interval(given)) == text


@pytest.mark.parametrize(
    ("given", "text"),
    [
        (estimate(-2.1, -3.8, -0.4), "-2.1% (-3.8 to -0.4%)"),
        (estimate(0.0, -1e-8, 1e-8, EDGE_OF_RANGE), "not enough data"),
        (estimate(1.0, 0.5, 2.0, DID_NOT_CONVERGE), "not enough data"),
        (UNKNOWN, "not enough data"),
    ],
)
def test_change_with_interval(given, text):
    assert plain(change_with_interval(given)) == text


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (
            estimate(-2.1, -3.8, -0.4),
            (
                "Wood frog: between 2014 and 2025 the share of occupied stops fell by 2.1% per year"
                " (95% interval: 0.4 to 3.8%), from 41% to 18%."
            ),
        ),
        (
            estimate(2.1, 0.4, 3.8),
            (
                "Wood frog: between 2014 and 2025 the share of occupied stops rose by 2.1% per year"
                " (95% interval: 0.4 to 3.8%), from 41% to 18%."
            ),
        ),
        (
            estimate(-0.4, -1.3, 0.6),
            (
                "Wood frog: between 2014 and 2025 there is no clear change in the share of "
                "occupied stops: -0.4% per year (95% interval: -1.3 to +0.6%). It may have fallen "
                "or risen; uncertain does not mean stable."
            ),
        ),
    ],
    ids=["fell", "rose", "uncertain"],
)
def test_trend_sentence(change, words):
    assert plain(trend_sentence("Wood frog", result(change), "stop")) == words


def test_without_correction_the_plain_share_is_told_and_named_so():
    found = result(UNKNOWN, naive=estimate(5.0, 1.0, 9.0))
    text = plain(trend_sentence("Wood frog", found, "stop"))
    assert "because no stop was visited twice in one calling season" in text
    assert "the uncorrected share of stops where it was heard rose by 5.0% per year" in text


@pytest.mark.parametrize(
    ("flags", "why"),
    [
        ((EDGE_OF_RANGE,), "the estimate is at 0% or 100%"),
        ((NEVER_HEARD,), "it was never heard"),
        ((NOT_IDENTIFIED,), "how many routes are occupied"),
        ((), "the data are not enough to say"),
    ],
)
def test_reason(flags, why):
    text = trend_sentence("Wood frog", result(estimate(None, None, None, *flags)), "route")
    assert why in plain(text)
    assert "%" not in plain(text).replace("0% or 100%", "")


def test_one_season_and_none():
    change = estimate(-2.1, -3.8, -0.4)
    assert "only one season, 2014" in trend_sentence("X", result(change, years=(2014,)), "stop")
    assert "not surveyed" in trend_sentence("X", result(change, years=()), "stop")


@pytest.mark.parametrize(
    ("change", "naive", "way", "behind"),
    [
        (estimate(-2.1, -3.8, -0.4), UNKNOWN, "falling", "-2.1% (-3.8 to -0.4%)"),
        (estimate(2.1, 0.4, 3.8), UNKNOWN, "rising", "+2.1% (+0.4 to +3.8%)"),
        (estimate(-0.4, -1.3, 0.6), UNKNOWN, "no clear change", "-0.4% (-1.3 to +0.6%)"),
        (UNKNOWN, UNKNOWN, "no trend reported", "no repeat visits"),
        (
            UNKNOWN,
            estimate(-5.0, -9.0, -1.0),
            "no trend reported",
            "no repeat visits; not corrected: -5.0% (-9.0 to -1.0%)",
        ),
        (
            estimate(-50.0, -99.0, -1.0, EDGE_OF_RANGE),
            UNKNOWN,
            "no trend reported",
            "estimate at 0% or 100%",
        ),
    ],
)
def test_direction_and_what_stands_behind_it(change, naive, way, behind):
    """A plain share that falls is not called falling: detection may have changed."""
    found = result(change, naive=naive)
    assert direction(found) == way
    assert plain(headline(found)) == behind


@pytest.mark.parametrize(
    "change",
    [estimate(-2.0, -4.0, 0.0), estimate(2.0, 0.0, 4.0), estimate(0.0, 0.0, 0.0)],
    ids=["ends at zero", "begins at zero", "is zero"],
)
def test_an_interval_that_touches_zero_has_no_direction(change):
    touching = result(change)
    assert direction(touching) == "no clear change"
    assert "no clear change in the share" in plain(trend_sentence("Wood frog", touching, "stop"))
    assert "No clear shift in the calling season" in days_words(change)
    uncorrected = result(UNKNOWN, naive=change)
    text = plain(trend_sentence("Wood frog", uncorrected, "stop"))
    assert "no clear change in the uncorrected share" in text


def test_no_direction_without_two_seasons():
    change = estimate(-2.1, -3.8, -0.4)
    for years, behind in (((2014,), "only one season"), ((), "not surveyed in its")):
        found = result(change, years=years)
        assert direction(found) == "no trend reported"
        assert headline(found).startswith(behind)


def test_alt_text_says_what_the_picture_says():
    text = plain(chart_alt("Wood frog", result(estimate(-2.1, -3.8, -0.4)), "stop"))
    assert text == (
        "Share of stops with Wood frog in each season, 2014 to 2025. Corrected for detection: "
        "40% (30 to 50%) in 2014, 40% (30 to 50%) in 2025. Heard, not corrected: 30% in "
        "2014, 30% in 2025. The trend line runs from 41% to 18%."
    )


def test_days_words():
    clear = estimate(-4.2, -7.0, -1.4)
    assert "moved 4.2 days per decade earlier" in days_words(clear)
    assert "No clear shift" in days_words(dataclasses.replace(clear, high=1.0))
    assert "not enough to show" in days_words(UNKNOWN)


@pytest.mark.parametrize("flag", [TOO_FEW_DATA, POOR_FIT, FEW_CLUSTERS])
def test_a_flag_that_puts_a_change_in_doubt_stops_sentence_arrow_and_line(flag):
    doubted = result(estimate(-8.8, -12.0, -5.0, flag))
    assert direction(doubted) == "no trend reported"
    assert "fell" not in trend_sentence("Gray treefrog", doubted, "stop")
    assert "-8.8" not in plain(headline(doubted))
    assert trend_line(doubted) == ((), False)


def test_a_doubted_naive_change_is_not_told_either():
    doubted = result(UNKNOWN, naive=estimate(-8.8, -12.0, -5.0, TOO_FEW_DATA))
    assert "fell" not in trend_sentence("Gray treefrog", doubted, "stop")
    assert "-8.8" not in plain(headline(doubted))


def told(change, *, breaks=(), first=2014, last=2025, years=(2014, 2025), open_year=None):
    """A result with a trend over the seasons from `first` to `last`."""
    plain_result = result(change, years=years)
    trend = dataclasses.replace(
        plain_result.trend,
        first_year=first,
        last_year=last,
        breaks=breaks,
        line=tuple(
            (year, share) for year, share in plain_result.trend.line if first <= year <= last
        ),
    )
    seasons = tuple(
        dataclasses.replace(
            year, occupancy=dataclasses.replace(year.occupancy, flags=(OPEN_SEASON,))
        )
        if year.season_year == open_year
        else year
        for year in plain_result.years
    )
    return dataclasses.replace(plain_result, trend=trend, years=seasons)


FALL = estimate(-2.1, -3.8, -0.4, PROTOCOL_CHANGED)


def test_a_step_is_told_and_its_size_is_not_taken_for_a_change():
    text = plain(trend_sentence("Wood frog", told(FALL, breaks=(2019,)), "stop"))
    assert "between 2014 and 2025" in text
    assert "from 41% to 18%" not in text
    assert text.endswith(
        "Listening changed in 2019: the line has a step there, which counts for no change."
    )


def test_seasons_left_out_are_named():
    change = estimate(-2.1, -3.8, -0.4, PROTOCOL_CHANGED, YEARS_LEFT_OUT)
    text = plain(trend_sentence("Wood frog", told(change, breaks=(2024,), last=2023), "stop"))
    assert "between 2014 and 2023" in text
    assert text.endswith(
        "Not in the trend: 2025, on a side of a change of listening in 2024 with fewer than three "
        "seasons."
    )


def test_an_open_season_is_named_and_not_counted_as_left_out():
    text = plain(trend_sentence("Wood frog", told(FALL, last=2014, open_year=2025), "stop"))
    assert text.endswith("The season of 2025 is still open and not in the trend.")
    assert "Not in the trend" not in text


@pytest.mark.parametrize("flag", [POOR_FIT, EDGE_OF_RANGE, TOO_FEW_DATA, FEW_CLUSTERS])
def test_no_other_estimator_speaks_where_the_trend_is_in_doubt(flag):
    doubtful = result(estimate(-2.1, -3.8, -0.4, flag), naive=estimate(-5, -6, -4))
    text = trend_sentence("Wood frog", doubtful, "stop")
    assert "no corrected trend, because" in text
    assert "uncorrected share" not in text
    assert trend_line(doubtful) == ((), False)
    assert headline(doubtful) == FLAG_NAMES[flag]
    assert direction(doubtful) == "no trend reported"


@pytest.mark.parametrize("flag", [NO_REPEAT_VISITS, NOT_IDENTIFIED])
def test_the_plain_share_speaks_where_only_detection_is_missing(flag):
    unknown = result(estimate(None, None, None, flag), naive=estimate(-5, -6, -4))
    assert "the uncorrected share of stops where it was heard fell" in plain(
        trend_sentence("Wood frog", unknown, "stop")
    )
    assert trend_line(unknown)[0]


@pytest.mark.parametrize(
    ("flag", "words"),
    [
        (JOINT_ENTRY_TOLD, "the joint entry is reported instead"),
        (MEMBERS_TOLD, "its species are reported instead"),
    ],
)
def test_of_a_group_one_entry_is_told_and_the_other_says_why_not(flag, words):
    falling = estimate(-7.1, -10.9, -3.0)
    told, other = (
        result(dataclasses.replace(falling, flags=flags), naive=falling) for flags in ((), (flag,))
    )
    assert direction(told) == "falling"
    assert "fell by" in trend_sentence("Gray treefrog", told, "stop")
    assert direction(other) == "no trend reported"
    sentence = trend_sentence("Gray treefrog", other, "stop")
    assert words in sentence
    assert "80%" in sentence
    assert "fell" not in sentence
    assert headline(other) == FLAG_NAMES[flag]
    assert trend_line(other) == ((), False)
    assert len(trend_line(told)[0]) == 2


def test_a_published_change_is_told_where_trends_tells_it():
    """A model that does not fit, or no estimate: the number of the table stays in the table."""
    row = {"change": "-4.7", "change_low": "-7.2", "change_high": "-2.1", "flags": ""}
    assert written_change(row) == "−4.7% (−7.2 to −2.1%)"
    for other in ({"flags": POOR_FIT}, {"flags": "model fits poorly; gap-years"}, {"change": ""}):
        assert written_change(row | other) == "no trend reported", other


def test_without_a_survey_it_goes_without_saying_that_data_are_few():
    assert flags_in_words([NO_EFFORT, TOO_FEW_DATA]) == "not surveyed"
    assert flags_in_words([TOO_FEW_DATA]) == "too few data"
