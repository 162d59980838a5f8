"""Detection that a species without repeat visits borrows from the others."""

from dataclasses import replace

import pytest

from surveys.charts.borrowed import borrowed_words
from surveys.charts.chart_alt import chart_alt
from surveys.charts.shares import species_chart, species_spec
from surveys.charts.small import small_svg
from surveys.charts.words import NOT_TOLD, direction, trend_sentence
from surveys.fitting.power import PowerUnknownError, baseline_from
from surveys.trends import estimates
from surveys.trends.borrowed import (
    FEWEST_LENDERS,
    METHOD,
    _independent_trials,
    borrowed_share,
    with_borrowed,
)
from surveys.trends.community import is_told
from surveys.trends.estimates import Estimate
from surveys.trends.numerics.intervals import wilson, wilson_clustered
from surveys.trends.result_tables import occupancy_rows, result_from_rows, trend_row
from surveys.trends.species_result import Effort, SpeciesResult, SpeciesYear, Trend

ONCE = (estimates.NO_REPEAT_VISITS, estimates.NOT_IDENTIFIED)


def estimate(value, low=None, high=None, *flags):
    return Estimate(name="", value=value, low=low, high=high, interval="", method="", flags=flags)


def result(detection, *flags, years=(2024,), heard=8, route_flags=(), share=None):
    nothing = estimate(None, None, None, *detection.flags)
    return SpeciesResult(
        years=tuple(
            SpeciesYear(
                season_year=year, sites=40, sites_heard=heard, first_night=None, last_night=None,
                naive=wilson(heard, 40), occupancy=share or nothing, detection=detection,
                naive_by_route=replace(wilson(heard, 40), flags=route_flags),
                detection_model="", effort=Effort(routes=4, visits=4, periods=40),
            )
            for year in years
        ),
        trend=Trend(
            log_odds=nothing, occupancy=estimate(None, None, None, *detection.flags, *flags),
            line=(), naive=nothing, naive_line=(), detection_model="", occupancy_model="",
        ),
    )  # fmt: skip


BORROWER = result(estimate(None, None, None, *ONCE))
LENDER = result(estimate(0.5, 0.4, 0.6), share=estimate(0.4, 0.3, 0.5))
LENDERS = [LENDER] * FEWEST_LENDERS
BORROWER_OF_TWO, LENDER_OF_TWO = (
    result(one.detection, years=(2023, 2024), share=one.occupancy)
    for one in (BORROWER.years[0], LENDER.years[0])
)


def lent(borrower=BORROWER, lenders=LENDERS):
    return with_borrowed([borrower, *lenders])[0]


def test_share_detection_and_number_of_species_are_told_with_a_flag():
    (year,) = lent().years
    assert year.borrowed_from == 5
    assert year.occupancy.low < 8 / 40 / 0.5 < year.occupancy.high
    assert year.occupancy_by_route == year.occupancy
    assert year.detection.value == pytest.approx(0.5)
    for number in (year.occupancy, year.detection):
        assert number.flags == (estimates.DETECTION_BORROWED, estimates.NO_REPEAT_VISITS)
        assert number.method == METHOD
    assert set(estimates.FLAGS) >= set(year.flags)


def test_those_with_detection_of_their_own_keep_it():
    assert with_borrowed([BORROWER, *LENDERS])[1:] == LENDERS


def test_one_season_with_repeat_visits_is_enough_to_keep_its_own():
    own = BORROWER.years[0], replace(LENDER.years[0], season_year=2023)
    both = replace(BORROWER, years=own)
    assert lent(both) == both


@pytest.mark.parametrize(
    "unfit",
    [
        replace(LENDER, years=(replace(LENDER.years[0], season_year=2023),)),
        result(estimate(0.5, 0.4, 0.6, estimates.EDGE_OF_RANGE)),
        result(estimate(0.5, 0.4, 0.6, estimates.FEW_CLUSTERS)),
        result(estimate(0.5, 0.4, 1.0)),
        result(estimate(0.5, None, None)),
        result(estimate(0.5, 0.4, 0.6), estimates.POOR_FIT),
        result(estimate(0.5, 0.4, 0.6), estimates.JOINT_ENTRY_TOLD),
        result(estimate(0.5, 0.4, 0.6), estimates.MEMBERS_TOLD),
        BORROWER,
    ],
    ids=["other year", "edge", "routes", "limit", "no interval", "fit", "joint", "member", "none"],
)
def test_what_is_in_doubt_is_not_lent_and_four_are_too_few(unfit):
    assert lent(lenders=[*LENDERS[1:], unfit]) == BORROWER


def test_a_season_without_a_call_and_one_of_a_single_route_stay_as_they_are():
    silent = result(BORROWER.years[0].detection, heard=0)
    alone = result(BORROWER.years[0].detection, route_flags=(estimates.FEW_CLUSTERS,))
    before = replace(BORROWER, years=(replace(BORROWER.years[0], naive_by_route=None),))
    assert [lent(one) for one in (silent, alone, before)] == [silent, alone, before]


def width(*arguments):
    share = borrowed_share(*arguments).share
    return share.high - share.low


def test_the_interval_is_wider_the_less_the_others_agree_and_the_fewer_they_are():
    heard = wilson(6, 100)
    alike = [estimate(0.6, 0.55, 0.65)] * 6
    unlike = [estimate(p, p - 0.05, p + 0.05) for p in (0.4, 0.5, 0.6, 0.6, 0.7, 0.8)]
    assert width(heard, unlike) < 0.9 * width(heard, unlike[::2])
    assert width(heard, alike) < 0.8 * width(heard, unlike)
    assert width(wilson(60, 1000), alike) < 0.8 * width(heard, alike)


def test_stops_that_are_alike_count_as_fewer():
    stops, routes = [5, 5, 0, 0], ["a", "b", "c", "d"]
    by_route = wilson_clustered(stops, [5] * 4, routes)
    # Four routes as good as four trials, each less by the t of three degrees of freedom.
    assert _independent_trials(by_route) < 4
    assert width(by_route, [estimate(0.5, 0.4, 0.6)] * 5) > 0.75


@pytest.mark.parametrize(("heard", "of"), [(1, 9), (20, 80), (40, 80), (79, 80), (12, 12)])
def test_the_number_of_trials_behind_a_wilson_interval(heard, of):
    assert _independent_trials(wilson(heard, of)) == pytest.approx(of)


def test_a_species_that_is_heard_everywhere_is_everywhere():
    share = borrowed_share(wilson(40, 40), [estimate(0.5, 0.4, 0.6)] * 5).share
    assert share.low > 0.8
    assert share.high <= 1


def test_it_carries_no_verdict_and_no_study_of_power():
    borrowed = lent(BORROWER_OF_TWO, [LENDER_OF_TWO] * FEWEST_LENDERS)
    assert all(year.borrowed_from for year in borrowed.years)
    assert not is_told(borrowed.trend.occupancy)
    assert direction(borrowed) == NOT_TOLD
    with pytest.raises(PowerUnknownError):
        baseline_from(borrowed)


def test_sentence_picture_and_its_description_name_the_species():
    borrowed = lent()
    sentence = "Corrected shares: detection borrowed from 5 other species."
    assert borrowed_words(borrowed) == sentence
    assert sentence in trend_sentence("Wood frog", lent(BORROWER_OF_TWO), "stop")
    assert sentence in chart_alt("Wood frog", borrowed, "stop")
    assert borrowed_words(BORROWER) == ""
    years = (replace(borrowed.years[0], borrowed_from=9), borrowed.years[0])
    assert "from 5 to 9 other species" in borrowed_words(replace(borrowed, years=years))
    chart = species_chart(borrowed, site="stop", title="")
    assert "Corrected, detection borrowed" in str(species_spec(chart))
    assert "Corrected, detection borrowed" not in str(
        species_spec(species_chart(LENDER, site="stop", title=""))
    )
    # Without bars a dot would look as sure as any other: rings at the share heard.
    assert small_svg(chart) == small_svg(species_chart(BORROWER, site="stop", title=""))


def test_the_number_of_species_comes_back_from_the_tables():
    borrowed = lent()
    rows = list(occupancy_rows("x", "stop", borrowed))
    assert rows[0]["borrowed_from"] == 5
    assert rows[0]["flags"] == "detection-borrowed; no-repeat-visits"
    (year,) = result_from_rows(rows, trend_row("x", "stop", borrowed), {}).years
    assert year.borrowed_from == 5
    del rows[0]["borrowed_from"]
    (former,) = result_from_rows(rows, {}, {}).years
    assert former.borrowed_from is None
    of_two = lent(BORROWER_OF_TWO, [LENDER_OF_TWO] * FEWEST_LENDERS)
    published = result_from_rows(
        list(occupancy_rows("x", "stop", of_two)), trend_row("x", "stop", of_two), {}
    )
    assert borrowed_words(published) in trend_sentence("Wood frog", published, "stop")
    assert borrowed_words(published)
