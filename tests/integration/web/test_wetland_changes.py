"""Noting what was done to a wetland, and what pages and files say of it."""

import datetime as dt

import pytest
from django.urls import reverse

from surveys.fitting.histories import load_periods
from surveys.fitting.stamps import data_stamp
from surveys.models import WetlandChange
from surveys.programs.wetland_changes import first_nights_after
from tests.support.builders import make_accepted_visit, make_change, make_program, make_route

pytestmark = pytest.mark.django_db


@pytest.fixture
def stop(program):
    return make_route(program).stops.get(number=1)


def url(program, stop, name="wetland_changes", **more):
    return reverse(f"web:{name}", kwargs={"program": program.slug, "stop": stop.pk, **more})


def test_a_change_is_noted_shown_and_taken_back(program, coordinator, client_for, stop):
    client, address = client_for(coordinator), url(program, stop)
    before = data_stamp(program)
    facts = {"kind": "restored", "began": "2023-03-01", "ended": "2023-04-02", "note": "dug out"}
    assert client.post(address, facts).status_code == 302
    change = stop.changes.get()
    assert (change.began, change.ended) == (dt.date(2023, 3, 1), dt.date(2023, 4, 2))
    assert change.noted_by == coordinator.person
    assert data_stamp(program) != before
    text = client.get(address).content.decode()
    for words in ("Restored or rebuilt", "1 Mar 2023", "2 Apr 2023", "dug out"):
        assert words in text, words
    elsewhere = make_route(program).stops.get(number=1)
    wrong = url(program, elsewhere, "wetland_change_delete", change=change.pk)
    assert client.post(wrong).status_code == 404
    client.post(url(program, stop, "wetland_change_delete", change=change.pk))
    assert not stop.changes.exists()


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        ({"began": "2999-01-01"}, "This day is still to come"),
        ({"began": "1023-01-01"}, "Check the year"),
        ({"ended": "2023-02-28"}, "It cannot end before that"),
        ({"kind": "burned"}, "is noted already"),
        ({"kind": "paved"}, "paved"),
    ],
)
def test_what_is_wrong_is_said(program, coordinator, client_for, stop, facts, words):
    make_change(stop, coordinator.person)
    typed = {"kind": "cleared", "began": "2023-03-01", **facts}
    response = client_for(coordinator).post(url(program, stop), typed)
    assert words in response.content.decode()
    assert WetlandChange.objects.count() == 1


def test_the_first_change_of_a_kind_counts_from_the_night_after(program, coordinator, stop):
    make_change(stop, coordinator.person, began=dt.date(2024, 3, 1))
    make_change(stop, coordinator.person, began=dt.date(2022, 3, 1), ended=dt.date(2022, 3, 5))
    make_change(make_route(make_program()).stops.get(number=1), coordinator.person)
    after = {"burned": {stop.pk: dt.date(2022, 3, 6).toordinal()}}
    assert first_nights_after(program) == after
    make_accepted_visit(stop.route, coordinator.person)
    assert load_periods(program).changes == after


def test_the_api_has_the_changes(program, coordinator, partner, client_for, stop):
    make_change(stop, coordinator.person)
    rows = client_for(partner).get(f"/api/v1/{program.slug}/records/changes/").json()
    label = f"{stop.route.code}_1"
    assert rows == [{"stop": label, "kind": "burned", "began": "2023-03-01", "ended": None}]
