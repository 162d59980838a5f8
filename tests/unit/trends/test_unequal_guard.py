"""Two classes of sites do not make a rare species a common one.

The stops of `rare_species` are heard equally well. In these two draws two classes have the better
criterion all the same, and put about twice as many stops under the reported line.
"""

from functools import cache

import numpy as np
import pytest

from surveys.trends import choices, unequal_contest
from surveys.trends.estimates import FLAGS, LEVEL_NOT_KNOWN, NOT_CLEARLY_BETTER
from surveys.trends.model_selection import choose_trend
from surveys.trends.models.year_trend import year_trend_line
from surveys.trends.sensitivity import other_detection_forms
from surveys.trends.told_trend import chosen_year_trend, told_data, trend_of
from surveys.trends.unequal_contest import BY_ABUNDANCE, LEAST_BETTER, TWO_CLASSES
from tests.unit.trends.rare_species import rare_periods, rare_species

EQUAL = "night-temperature"
DRAWS = {NOT_CLEARLY_BETTER: 8, LEVEL_NOT_KNOWN: 70}
TRUE_SHARE = 1 / 12


@cache
def chosen(seed):
    return choose_trend(*rare_species(seed), {})


def reported_share(seed, choice):
    line = year_trend_line(chosen_year_trend(*rare_species(seed), choice))
    return float(np.mean([share.value for _, share in line]))


@pytest.mark.parametrize("why", DRAWS)
def test_the_reported_level_is_that_of_equal_sites(why):
    choice = chosen(DRAWS[why])
    assert choice.detection in {EQUAL, EQUAL + BY_ABUNDANCE}
    best = choice.detection_models[0]
    assert (best.name, best.delta) == (EQUAL + TWO_CLASSES, 0.0)
    assert best.flags == (why,)
    assert why in FLAGS
    assert reported_share(DRAWS[why], choice) < 1.5 * TRUE_SHARE


@pytest.mark.parametrize("why", DRAWS)
def test_without_the_limits_two_classes_would_double_it(monkeypatch, why):
    monkeypatch.setattr(unequal_contest, "LEAST_BETTER", 0.0)
    monkeypatch.setattr(unequal_contest, "MOST_SITES_ADDED", np.inf)
    choice = choose_trend(*rare_species(DRAWS[why]), {})
    assert choice.detection == EQUAL + TWO_CLASSES
    equal = reported_share(DRAWS[why], chosen(DRAWS[why]))
    assert reported_share(DRAWS[why], choice) > 1.8 * equal


def test_each_draw_is_on_the_side_of_its_limit():
    def lead(choice):
        of = {model.name: model.aic for model in choice.detection_models}
        return of[EQUAL] - of[EQUAL + TWO_CLASSES]

    assert 0 < lead(chosen(DRAWS[NOT_CLEARLY_BETTER])) < LEAST_BETTER
    assert lead(chosen(DRAWS[LEVEL_NOT_KNOWN])) > LEAST_BETTER


def test_the_line_of_the_table_stays_and_says_that_its_share_is_not_known():
    data = told_data(rare_periods(DRAWS[LEVEL_NOT_KNOWN]), "stop")
    assert data.choice.detection in {EQUAL, EQUAL + BY_ABUNDANCE}
    fit = trend_of(data)
    lines = {line.name: line.change for line in other_detection_forms(data, fit)}
    assert lines[choices.TWO_CLASSES].value is not None
    assert LEVEL_NOT_KNOWN in lines[choices.TWO_CLASSES].flags
    assert LEVEL_NOT_KNOWN not in lines[choices.BY_ABUNDANCE].flags
