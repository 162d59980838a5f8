"""What stands out in waiting visits: compared with their routes, stored, and told."""

import datetime as dt

import pytest

from surveys import site_mode
from surveys.models import StoredFinding, Visit, VisitOddness, VisitState
from surveys.visits import oddness, verbs
from surveys.visits.oddness import compare_rest, compare_waiting, told_reasons
from surveys.visits.queue import Order, QueueFilters, neighbors, next_waiting, queue
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_member,
    make_program,
    make_route,
)

WAITING = QueueFilters()


def waiting(route, person, night, heard=None):
    return make_accepted_visit(
        route,
        person,
        night=dt.date.fromisoformat(night),
        heard=heard,
        state=VisitState.SUBMITTED,
        counts_in_trends=False,
    )


@pytest.fixture
def species(program):
    return make_checklist(program, "Pseudacris crucifer", "Anaxyrus americanus")


@pytest.fixture
def route(program, species, observer):
    peeper, _ = species
    route = make_route(program, code="R01")
    for year in range(2019, 2023):
        make_accepted_visit(
            route, observer.person, night=dt.date(year, 4, 15), heard={1: {peeper: 1}}
        )
    return route


def told(coordinator, visit):
    return told_reasons([queue(coordinator, WAITING).get(pk=visit.pk)])[visit.pk]


def test_reasons_are_told_in_words_and_the_oddest_comes_first(
    coordinator, observer, route, species
):
    peeper, toad = species
    plain = waiting(route, observer.person, "2023-04-15", {1: {peeper: 1}})
    odd = waiting(route, observer.person, "2023-04-20", {1: {peeper: 3}, 2: {toad: 2}})
    silent = waiting(route, observer.person, "2023-04-16")
    assert list(queue(coordinator, WAITING)) == [plain, silent, odd]
    compare_waiting(coordinator)
    assert list(queue(coordinator, WAITING)) == [odd, silent, plain]
    assert told(coordinator, odd) == [
        f"First {toad.name} on this route: stop 2, call index 2.",
        f"{peeper.name} with call index 3: stop 1. Never above 1 there before.",
    ]
    assert told(coordinator, silent) == [
        f"{peeper.name} not heard: stop 1. It was heard there on most visits at this time of year."
    ]
    assert told(coordinator, plain) == []
    assert neighbors(coordinator, WAITING, silent).previous == odd
    assert next_waiting(coordinator, WAITING, silent) == plain


def test_out_of_season_is_what_the_rule_asks(coordinator, observer, route, species):
    peeper, _ = species
    visit = waiting(route, observer.person, "2023-04-15", {1: {peeper: 1}})
    StoredFinding.objects.create(
        visit=visit,
        code="species-out-of-season",
        severity="query",
        stop=route.stops.get(number=1),
        species=peeper,
    )
    compare_waiting(coordinator)
    assert told(coordinator, visit) == [f"{peeper.name} outside its calling season: stop 1."]


def test_two_observers_of_a_night(coordinator, observer, route, species):
    peeper, _ = species
    colleague = make_member(coordinator.program)
    one = waiting(route, observer.person, "2023-04-15", {1: {peeper: 1}})
    other = waiting(route, colleague.person, "2023-04-15", {1: {peeper: 1}, 3: {peeper: 1}})
    compare_waiting(coordinator)
    for visit in (one, other):
        (sentence,) = told(coordinator, visit)
        assert sentence.startswith(f"{peeper.name}: another observer on the same night")
        assert sentence.endswith("stop 3.")


def test_compared_again_when_the_route_changes_only(
    coordinator, observer, route, species, django_assert_num_queries
):
    _, toad = species
    first = waiting(route, observer.person, "2023-04-15", {2: {toad: 1}})
    second = waiting(route, observer.person, "2023-05-15", {2: {toad: 1}})
    compare_waiting(coordinator)
    assert not any("First" in sentence for sentence in told(coordinator, second))
    with django_assert_num_queries(2):
        compare_waiting(coordinator)
    verbs.set_aside(coordinator, first.pk, note="A test visit.", revision=first.revision)
    compare_waiting(coordinator)
    assert any("First" in sentence for sentence in told(coordinator, second))


def test_the_worker_goes_on_where_many_routes_changed(coordinator, observer, program, species):
    routes = [make_route(program, stops=1) for _ in range(3)]
    for route in routes:
        waiting(route, observer.person, "2023-04-15")
    elsewhere = make_route(make_program(), stops=1)
    waiting(elsewhere, observer.person, "2023-04-15")
    compare_waiting(coordinator, most_routes=1)
    compare_waiting(coordinator, most_routes=0)
    assert VisitOddness.objects.count() == 1
    compare_rest(program_id=program.pk)
    compared = VisitOddness.objects.values_list("visit__route", flat=True)
    assert set(compared) == {route.pk for route in routes}


def test_a_read_only_site_compares_nothing(coordinator, observer, route, settings, tmp_path):
    settings.SITE_MODE_FILE = tmp_path / "mode.json"
    site_mode.write(settings.SITE_MODE_FILE, site_mode.SiteMode(site_mode.Mode.READ_ONLY))
    waiting(route, observer.person, "2023-04-15")
    compare_waiting(coordinator)
    assert not VisitOddness.objects.exists()


@pytest.mark.parametrize("order", Order)
def test_every_order_walks_the_whole_queue_forth_and_back(
    coordinator, observer, program, species, order
):
    peeper, _ = species
    people = [observer.person, make_member(program).person]
    for number in range(6):
        route = make_route(program, stops=1, code=f"R{number % 2}{number}")
        waiting(route, people[number % 2], f"2023-04-1{number % 3}", {1: {peeper: 1}})
    Visit.objects.update(submitted_at=dt.datetime(2023, 5, 1, tzinfo=dt.UTC))
    VisitOddness.objects.bulk_create(
        VisitOddness(visit=visit, score=score, route_visits=1, route_changed_at=visit.changed_at)
        for score, visit in enumerate(Visit.objects.order_by("pk")[:3])
    )
    for state in (VisitState.SUBMITTED, VisitState.ACCEPTED):
        Visit.objects.update(state=state)
        filters = QueueFilters(order=order, state=state)
        visits = list(queue(coordinator, filters))
        assert len(visits) == 6
        for earlier, later in zip([None, *visits], [*visits, None], strict=True):
            if earlier:
                assert neighbors(coordinator, filters, earlier).next == later
            if later:
                assert neighbors(coordinator, filters, later).previous == earlier


def test_oddness_module_compares_the_states_it_says():
    assert set(oddness.COMPARED) == {VisitState.SUBMITTED, VisitState.ACCEPTED}
