"""Observers at a glance: what each sees, and whether the figures are right."""

import csv
import datetime as dt
import io

import pytest
from django.utils import timezone

from accounts.models import Role
from surveys.models import CallIndex, Confirmation, StoredFinding, VisitState
from surveys.seasons.observers import observer_figures, rule_shares
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_member,
    make_person,
    make_program,
    make_route,
    make_species,
)
from tests.support.sounds import keep, sound

pytestmark = pytest.mark.django_db

# Boyd et al. 1982, four grades (from memory), linear weights, as in
# tests/published/trends/test_kappa.py: 0.5684.
PRINTED = [[21, 12, 0, 0], [4, 17, 1, 0], [3, 9, 15, 2], [0, 0, 0, 1]]
NIGHT = dt.date(2024, 4, 15)


def ask(visit, code: str = "too-cold", severity: str = "query") -> None:
    StoredFinding.objects.create(
        visit=visit, code=code, severity=severity, message_as_stored="Cold."
    )


@pytest.fixture
def second(program):
    return make_member(program, person=make_person("Sam Reed"))


def test_agreement_is_the_kappa_of_a_printed_table(program, observer, second):
    """Each pair of indexes of the table is a stop; silence is index 0."""
    pairs = [
        (mine, other)
        for mine, row in enumerate(PRINTED)
        for other, number in enumerate(row)
        for _ in range(number)
    ]
    (peeper,) = make_checklist(program)
    route = make_route(program, stops=len(pairs))
    for member, side in ((observer, 0), (second, 1)):
        heard = {stop: {peeper: pair[side]} for stop, pair in enumerate(pairs, 1) if pair[side]}
        make_accepted_visit(route, member.person, night=NIGHT, heard=heard)
    # Another night, another route, and a visit that is not accepted are compared with nothing.
    make_accepted_visit(route, observer.person, night=NIGHT + dt.timedelta(days=9))
    make_accepted_visit(make_route(program), second.person, night=NIGHT + dt.timedelta(days=9))
    third = make_member(program)
    make_accepted_visit(
        route, third.person, night=NIGHT, state=VisitState.SUBMITTED, counts_in_trends=False
    )
    figures = observer_figures(program)
    agreement = figures[observer.person_id].agreement
    assert (agreement.nights, agreement.compared, agreement.same) == (1, 85, 54)
    assert agreement.kappa.value == pytest.approx(0.5684, abs=5e-5)
    assert figures[second.person_id].agreement.kappa.value == pytest.approx(0.5684, abs=5e-5)
    assert figures[third.person_id].agreement is None
    assert observer_figures(program, 2023) == {}
    assert observer_figures(program, 2024, second.person_id).keys() == {second.person_id}


def test_a_call_that_one_left_open_is_not_compared(program, observer, second):
    peeper, _ = make_checklist(program, "Pseudacris crucifer", "Anaxyrus americanus")
    route = make_route(program, stops=2)
    for member in (observer, second):
        visit = make_accepted_visit(route, member.person, night=NIGHT, heard={1: {peeper: 2}})
    CallIndex.objects.filter(period__visit=visit).update(
        index=None, not_sure=True, counts_in_trends=False
    )
    assert observer_figures(program)[observer.person_id].agreement.compared == 3


def test_figures_count_visits_and_not_findings(program, observer, second):
    (peeper,) = make_checklist(program)
    route = make_route(program, stops=3)
    first, other = (
        make_accepted_visit(
            route, observer.person, night=night, heard={1: {peeper: 1}, 2: {peeper: 1}}
        )
        for night in (NIGHT, NIGHT + dt.timedelta(days=7))
    )
    for _ in range(3):
        ask(first)
    ask(other, code="too-windy", severity="note")
    left_out = {"counts_in_trends": False}
    make_accepted_visit(route, observer.person, state=VisitState.SET_ASIDE, **left_out)
    make_accepted_visit(route, observer.person, state=VisitState.DRAFT, **left_out)
    make_accepted_visit(route, second.person, night=NIGHT + dt.timedelta(days=3), skipped={1, 2})
    heard_again = keep(observer, first, sound(), species=peeper.code)
    keep(observer, first, sound(seed=2))
    Confirmation.objects.create(
        call=CallIndex.objects.filter(period__visit=first).first(),
        recording=heard_again,
        by=second.person,
        at=timezone.now(),
    )
    mine = observer_figures(program)[observer.person_id]
    assert (mine.visits, mine.routes, mine.stops, mine.asked) == (2, 1, 6, 1)
    assert mine.by_rule == {"too-cold": 1}
    assert (mine.recordings, mine.confirmed) == (2, 1)
    assert observer_figures(program)[second.person_id].stops == 1
    assert rule_shares(program) == (3, {"too-cold": 1})


def test_each_observer_sees_only_their_own_line(program, observer, second, coordinator, client_for):
    make_species()
    route = make_route(program)
    for member, code in ((observer, "too-cold"), (second, "too-windy")):
        ask(make_accepted_visit(route, member.person, night=NIGHT), code)
    outsider = make_member(make_program(), Role.OBSERVER, person=make_person("Far Away"))
    make_accepted_visit(make_route(outsider.program), outsider.person)
    own = client_for(observer).get(f"/{program.slug}/your-surveys/")
    assert own.status_code == 200
    assert [rule.own for rule in own.context["rules"]] == ["1 of 1"]
    assert [rule.everyone for rule in own.context["rules"]] == ["50%"]
    assert second.person.name not in own.content.decode()
    address = f"/{program.slug}/program/people"
    for path in (f"{second.pk}/surveys", "observers/", "observers/table.csv"):
        assert client_for(observer).get(f"{address}/{path}").status_code == 403
    client = client_for(coordinator)
    names = [row.member.person.name for row in client.get(f"{address}/observers/").context["rows"]]
    assert names == [observer.person.name, second.person.name]
    assert client.get(f"{address}/{outsider.pk}/surveys").status_code == 404
    file = client.get(f"{address}/observers/table.csv?season=2024").content.decode()
    rows = list(csv.DictReader(io.StringIO(file)))
    assert [row["observer"] for row in rows] == names
    # Both surveyed the route on that night, and heard nothing that is listed.
    assert [row["visits_with_questions"] for row in rows] == ["1", "1"]
    empty = client.get(f"{address}/{coordinator.pk}/surveys?season=1999")
    assert "No visit has been submitted yet." in empty.content.decode()


def test_what_a_second_observer_heard_stands_by_species(
    program, observer, second, coordinator, client_for
):
    peeper, toad = make_checklist(program, "Pseudacris crucifer", "Anaxyrus americanus")
    route = make_route(program)
    make_accepted_visit(route, observer.person, night=NIGHT, heard={1: {peeper: 2}, 2: {peeper: 1}})
    make_accepted_visit(
        route, second.person, night=NIGHT, heard={1: {peeper: 2}, 2: {peeper: 3, toad: 1}}
    )
    own = client_for(observer).get(f"/{program.slug}/your-surveys/")
    (table,) = own.context["hearing"]
    assert [(row.name, row.missed, row.other_index) for row in table.rows] == [
        ("All species", "1 of 3 (3.9% to 82%)", "1 of 2 (6.1% to 94%)"),
        (toad.name, "1 of 1 (15% to 100%)", "–"),
        (peeper.name, "0 of 2 (0% to 67%)", "1 of 2 (6.1% to 94%)"),
    ]
    text = own.content.decode()
    assert "Who of the two was right is not known." in text
    assert "Not heard by others" not in text
    page = client_for(coordinator).get(f"/{program.slug}/program/people/{second.pk}/surveys")
    assert page.context["hearing"][0].rows[0].missed == "0 of 2 (0% to 67%)"


def test_more_observers_take_no_more_queries(
    program, observer, coordinator, client_for, django_assert_max_num_queries
):
    route = make_route(program)
    make_accepted_visit(route, observer.person)
    client, url = client_for(coordinator), f"/{program.slug}/program/people/observers/"
    client.get(url)
    with django_assert_max_num_queries(20) as before:
        client.get(url)
    for _ in range(3):
        ask(make_accepted_visit(route, make_member(program).person))
    # One more: the calls of pairs, which there were none of.
    with django_assert_max_num_queries(len(before) + 1):
        client.get(url)
