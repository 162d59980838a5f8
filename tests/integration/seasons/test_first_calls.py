"""The first night each species was heard, beside earlier seasons."""

import datetime as dt

import pytest

from surveys.seasons.first_calls import first_calls, in_season
from tests.support.builders import make_accepted_visit, make_checklist, make_route

pytestmark = pytest.mark.django_db


def test_this_season_beside_the_median_of_the_earlier_ones(program, observer):
    peeper, toad, chorus = make_checklist(
        program, "Pseudacris crucifer", "Anaxyrus americanus", "Pseudacris triseriata"
    )
    route = make_route(program, stops=1)
    nights = {
        (2022, 4, 3): peeper,
        (2023, 4, 12): peeper,
        (2024, 4, 5): peeper,
        (2025, 4, 9): peeper,
        (2025, 4, 20): peeper,
        (2024, 5, 1): toad,
    }
    for night, species in nights.items():
        make_accepted_visit(route, observer.person, night=dt.date(*night), heard={1: {species: 1}})
    make_accepted_visit(
        route,
        observer.person,
        night=dt.date(2025, 4, 1),
        heard={1: {peeper: 1, chorus: 1}},
        counts_in_trends=False,
    )
    of_peeper, of_toad = first_calls(program, 2025)
    assert (of_peeper.night, of_peeper.usual) == (dt.date(2025, 4, 9), dt.date(2025, 4, 5))
    assert of_peeper.days_later == 4
    assert (of_toad.night, of_toad.usual, of_toad.days_later) == (None, None, None)


@pytest.mark.parametrize(
    ("night", "of_season", "moved_to", "expected"),
    [
        (dt.date(2023, 12, 20), 2024, 2026, dt.date(2025, 12, 20)),
        (dt.date(2024, 2, 29), 2024, 2025, dt.date(2025, 3, 1)),
    ],
)
def test_a_day_of_another_season(night, of_season, moved_to, expected):
    assert in_season(night, of_season=of_season, moved_to=moved_to) == expected
