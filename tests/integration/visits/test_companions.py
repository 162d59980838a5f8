"""The second observer: a member as a person, a guest by a name that few see and that is erased."""

import json

import pytest
from django.apps import apps
from django.db import connection
from django.test import Client
from django.urls import reverse

from accounts.models import Role
from surveys.exports.own_data import own_data
from surveys.models import Submission, Visit, VisitState
from surveys.visits import verbs
from surveys.visits.access import cells_for, second_observer_for, visible_visits
from surveys.visits.companions import companions_of, erase_guest, guests_of
from surveys.visits.drafts import discard_draft
from surveys.visits.exceptions import NotYours, VisitRefused
from tests.support.builders import make_member, make_program, make_route
from tests.support.sheets import make_draft, make_submitted, plain_cells, type_cells

pytestmark = pytest.mark.django_db
GUEST = "Linden Harrow"


@pytest.fixture
def mate(program):
    return make_member(program)


@pytest.fixture
def shared(observer, mate, program):
    cells = {"second_member": str(mate.person_id), "second_observer": GUEST}
    return make_submitted(observer, make_route(program), plain_cells() | cells)


def test_a_member_is_stored_as_a_person(shared, mate, observer):
    shared.refresh_from_db()
    assert (shared.second_member, shared.second_observer) == (mate.person, GUEST)
    mate.person.name = "Wren Oakley"
    mate.person.save()
    shared = Visit.objects.get(pk=shared.pk)
    assert second_observer_for(observer, shared) == f"Wren Oakley and {GUEST} (guest)"


def test_only_another_member_of_the_program_can_be_the_second_observer(observer, program):
    stranger = make_member(make_program())
    route = make_route(program)
    for number, typed in enumerate(
        (str(observer.person_id), str(stranger.person_id), "0", "²", "-1", "9" * 40, "Kim")
    ):
        draft = make_draft(observer, route, plain_cells() | {"second_member": typed})
        with pytest.raises(VisitRefused) as refused:
            verbs.submit_visit(observer, draft.pk, revision=draft.revision)
        told = [f for f in refused.value.findings if f.where.field == "second_member"]
        assert [f.code for f in told] == ["cell-unreadable"], typed
        assert "Choose another member of the program" in told[0].remedy
        discard_draft(observer, draft.pk)
        assert number < 7


def test_who_left_since_may_still_be_on_a_sheet(observer, program, mate):
    mate.active = False
    mate.save()
    assert mate.person_id not in companions_of(program, observer_id=observer.person_id)
    cells = plain_cells() | {"second_member": str(mate.person_id)}
    assert make_submitted(observer, make_route(program), cells).second_member_id == mate.person_id


def test_two_of_one_name_are_told_apart(program, observer):
    for _ in range(2):
        member = make_member(program)
        member.person.name = "Kim Alder"
        member.person.save()
    partner = make_member(program, Role.PARTNER)
    people = companions_of(program, observer_id=observer.person_id)
    assert sorted(name.partition(", joined")[1] for name in people.values() if "Kim" in name) == [
        ", joined",
        ", joined",
    ]
    assert not {observer.person_id, partner.person_id} & people.keys()


def test_the_second_observer_reads_the_visit_in_every_state_and_changes_nothing(
    shared, mate, coordinator, observer
):
    other = make_member(mate.program)
    verbs.send_back(
        coordinator, shared.pk, note="Who?", revision=shared.revision, site_url="https://x.org/"
    )
    assert shared in visible_visits(mate)
    assert shared not in visible_visits(other)
    client = Client()
    client.force_login(mate.person)
    address = {"program": mate.program.slug}
    page = client.get(reverse("web:sheets", kwargs=address)).content.decode()
    assert str(shared.pk) in page.partition("With others")[2]
    assert (
        client.get(reverse("web:visit", kwargs=address | {"visit_id": shared.pk})).status_code
        == 200
    )
    with pytest.raises(NotYours):
        type_cells(mate, shared, {"notes": "mine"})
    with pytest.raises(NotYours):
        verbs.submit_visit(mate, shared.pk, revision=shared.revision)
    put = client.put(
        reverse("api:visit", kwargs=address | {"visit_id": shared.pk}),
        {"route": shared.route.code, "night": str(shared.night), "cells": {}},
        content_type="application/json",
    )
    assert put.status_code == 404
    client.force_login(other.person)
    assert str(shared.pk) not in client.get(reverse("web:sheets", kwargs=address)).content.decode()


def test_a_guests_name_is_for_those_who_were_there_and_coordinators(
    shared, mate, observer, coordinator
):
    other = make_member(mate.program)
    client = Client()
    address = {"program": mate.program.slug, "visit_id": shared.pk}
    for member, sees in ((observer, True), (mate, True), (coordinator, True), (other, False)):
        assert (GUEST in second_observer_for(member, shared)) is sees
        assert ("second_observer" in cells_for(member, shared)) is sees
        client.force_login(member.person)
        pages = [reverse("web:visit", kwargs=address), reverse("api:visit", kwargs=address),
                 reverse("api:visits", kwargs={"program": mate.program.slug})]  # fmt: skip
        for page in pages:
            assert (GUEST in client.get(page).content.decode()) is sees, (member.role, page)
    assert "A guest" in second_observer_for(other, shared)


def test_a_guest_is_erased_from_sheets_submissions_and_history(
    shared, mate, observer, coordinator, program
):
    route = program.routes.first()
    draft, thrown = (
        make_draft(observer, route, {"second_observer": typed}, night=shared.night.replace(day=day))
        for day, typed in ((20, f" {GUEST.lower()} "), (21, GUEST[:-2]))
    )
    type_cells(observer, thrown, {"second_observer": GUEST})
    type_cells(observer, thrown, {"second_observer": ""})
    discard_draft(observer, thrown.pk)
    theirs = make_submitted(mate, make_route(program), plain_cells() | {"second_observer": GUEST})
    for member in (mate, make_member(program)):
        with pytest.raises(NotYours):
            erase_guest(member, shared.pk)
    client = Client()
    client.force_login(observer.person)
    where = {"program": program.slug, "visit_id": shared.pk}
    assert "Erase the guest" in client.get(reverse("web:visit", kwargs=where)).content.decode()
    assert client.post(reverse("web:visit_guest_erase", kwargs=where)).status_code == 302
    assert "Erase the guest" not in client.get(reverse("web:visit", kwargs=where)).content.decode()
    shared.refresh_from_db()
    draft.refresh_from_db()
    assert shared.second_observer == draft.cells["second_observer"] == "name erased"
    assert shared.state == VisitState.SUBMITTED
    events = apps.get_model("surveys", "VisitEvent").objects.filter(observer=observer.person)
    assert events.count() > 6
    kept = [*Visit.objects.filter(observer=observer.person).values_list("cells", "second_observer"),
            *Submission.objects.filter(visit=shared).values_list("cells", flat=True),
            *events.values_list("cells", "second_observer")]  # fmt: skip
    assert GUEST[:-2].lower() not in json.dumps(kept).lower()
    emptied = events.filter(pgh_label="change", cells__second_observer=None)
    assert [event.pgh_obj_id for event in emptied] == [thrown.pk]
    # Another observer's guest may be another person.
    theirs.refresh_from_db()
    assert theirs.second_observer == GUEST
    assert guests_of(coordinator) == [theirs]
    client.force_login(coordinator.person)
    people = client.get(reverse("web:people", kwargs={"program": program.slug})).content.decode()
    assert people.partition("Guests</caption>")[2].count(GUEST) == 1
    assert erase_guest(coordinator, theirs.pk) == 1
    assert tables_with(GUEST[:-2]) == []


def tables_with(words: str) -> list[str]:
    """Tables of the whole database that hold these words in whichever column."""
    found = []
    with connection.cursor() as cursor:
        for table in connection.introspection.table_names(cursor):
            name = connection.ops.quote_name(table)
            cursor.execute(
                f"SELECT EXISTS (SELECT FROM {name} AS row WHERE row::text ILIKE %s)",
                [f"%{words}%"],
            )
            if cursor.fetchone()[0]:
                found.append(table)
    return found


def test_a_shared_visit_is_in_ones_own_data(shared, mate):
    assert [row["id"] for row in own_data(mate.person)["shared_visits"]] == [str(shared.pk)]
