"""The whole yearly table against a naive recomputation in Python.

The recomputation walks over every row, asks of every (species, stop, night) whether
it was heard, silent or missing, and hands the periods to `surveys.trends`.
"""

import datetime as dt
import random

import pytest

from surveys.models import (
    CallIndex,
    ChecklistEntry,
    ListeningPeriod,
    Visit,
    VisitState,
)
from surveys.seasons.yearly import yearly_table
from surveys.trends.histories import ListeningPeriod as PeriodValue
from surveys.trends.table import yearly_table as table_from_periods
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_route,
)

pytestmark = pytest.mark.django_db

SPECIES = ("Pseudacris crucifer", "Anaxyrus americanus", "Hyla versicolor", "Lithobates pipiens")


def random_data(program, person, seed: int) -> None:
    draw = random.Random(seed)
    species = make_checklist(program, *SPECIES)
    for one in species:
        entry = ChecklistEntry.objects.get(species=one)
        if draw.random() < 0.5:
            entry.listed_from = dt.date(2022, 1, 1) + dt.timedelta(days=draw.randrange(700))
        if draw.random() < 0.3:
            entry.listed_until = dt.date(2024, 1, 1) + dt.timedelta(days=draw.randrange(500))
        entry.save()
    for _ in range(3):
        route = make_route(program, stops=4)
        for year in (2022, 2023, 2024):
            for _ in range(draw.randrange(4)):
                random_visit(draw, route, person, year, species)
    leave_some_calls_out(draw)


def random_visit(draw: random.Random, route, person, year: int, species) -> None:
    """Seasons begin in October here, and are labeled by the year in which they end."""
    accepted = draw.random() < 0.8
    visit = make_accepted_visit(
        route,
        person,
        night=dt.date(year - 1, 10, 1) + dt.timedelta(days=draw.randrange(300)),
        season_year=year,
        state=VisitState.ACCEPTED if accepted else VisitState.SUBMITTED,
        counts_in_trends=accepted and draw.random() < 0.9,
        skipped=frozenset(stop for stop in range(1, 5) if draw.random() < 0.15),
        heard={
            stop: {one: draw.randint(1, 3) for one in species if draw.random() < 0.4}
            for stop in range(1, 5)
        },
    )
    for period in visit.periods.all():
        if draw.random() < 0.1:
            period.delete()
        elif draw.random() < 0.1:
            period.counts_in_trends = False
            period.save()


def leave_some_calls_out(draw: random.Random) -> None:
    for call in CallIndex.objects.all():
        if draw.random() < 0.1:
            call.counts_in_trends = False
            call.save()
        elif draw.random() < 0.1:
            call.index, call.not_sure, call.counts_in_trends = None, True, False
            call.save()


def naive_rows(program):
    rows = []
    entries = ChecklistEntry.objects.filter(program=program).select_related("species")
    for entry in sorted(entries, key=lambda entry: entry.species.scientific_name):
        periods = []
        for visit in Visit.objects.filter(route__program=program, counts_in_trends=True):
            if entry.listed_from and visit.night < entry.listed_from:
                continue
            if entry.listed_until and visit.night > entry.listed_until:
                continue
            for period in ListeningPeriod.objects.filter(visit=visit, counts_in_trends=True):
                call = CallIndex.objects.filter(period=period, species=entry.species).first()
                if call and not call.counts_in_trends:
                    continue
                periods.append(
                    PeriodValue(
                        route=visit.route_id,
                        stop=period.stop_id,
                        season_year=visit.season_year,
                        night=visit.night,
                        visit_number=int(visit.pk) % 2**62 + 1,
                        call_index=call.index if call else 0,
                    )
                )
        rows.extend(table_from_periods(entry.species.scientific_name, periods))
    return rows


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_whole_table_equals_the_naive_recomputation(program, observer, seed):
    random_data(program, observer.person, seed)
    table = yearly_table(program)
    assert len(table) > 6
    assert table == naive_rows(program)
