"""Reaching a visit: by which ids, with what is read along, and what stays locked."""

import uuid

import pytest
from django.db import connections, transaction

from accounts.models import Role
from surveys.models import Program, Route, Visit, VisitState
from surveys.visits.access import (
    EDITABLE,
    HANDED_IN,
    find_visit,
    lock_own_visit,
    lock_visit,
    visible_visits,
)
from surveys.visits.drafts import discard_draft
from surveys.visits.exceptions import DraftDiscarded, NotYours
from tests.support.builders import (
    make_member,
    make_program,
    make_route,
)
from tests.support.sheets import make_draft, make_submitted

NOT_THERE = "There is no such visit here, or it is not yours to open or change."
# state → who else in the program reads it, beside its observer
READERS = {
    "draft": {"coordinator"},
    "submitted": {"coordinator", "other observer"},
    "sent_back": {"coordinator"},
    "accepted": {"coordinator", "other observer"},
    "set_aside": {"coordinator"},
}


@pytest.fixture
def route(program):
    return make_route(program)


def test_states_in_which_a_sheet_is_typed_into_and_handed_in():
    assert set(READERS) == set(VisitState.values)
    assert set(EDITABLE) == {"draft", "sent_back"}
    assert set(HANDED_IN) == {"submitted", "accepted"}


@pytest.mark.django_db
@pytest.mark.parametrize("state", READERS)
def test_who_reads_a_visit(program, observer, coordinator, partner, route, state):
    visit = (make_draft if state == "draft" else make_submitted)(observer, route)
    Visit.objects.filter(pk=visit.pk).update(state=state)
    people = {
        "observer": observer,
        "other observer": make_member(program),
        "coordinator": coordinator,
        "partner": partner,
        "observer who left": make_member(program, active=False),
        "outsider": make_member(make_program(), Role.COORDINATOR),
    }
    readers = {name for name, member in people.items() if visible_visits(member).exists()}
    assert readers == READERS[state] | {"observer"}


@pytest.mark.django_db
def test_a_visit_comes_with_its_route_version_and_observer(
    observer, route, django_assert_num_queries
):
    pk = make_submitted(observer, route).pk
    with django_assert_num_queries(1):
        visit = find_visit(observer, str(pk))
        assert visit.route.program == observer.program
        assert visit.protocol_version.protocol.name
        assert visit.observer.email


@pytest.mark.django_db
@pytest.mark.parametrize("reach", [find_visit, lock_own_visit, lock_visit])
@pytest.mark.parametrize("key", ["no-uuid", "", 7, uuid.UUID(int=7), str(uuid.UUID(int=7))])
def test_what_is_no_visit(observer, reach, key):
    with pytest.raises(NotYours) as missing, transaction.atomic():
        reach(observer, key)
    assert str(missing.value) == NOT_THERE
    assert missing.value.__cause__ is None


@pytest.mark.django_db
@pytest.mark.parametrize("reach", [find_visit, lock_own_visit, lock_visit])
def test_the_one_that_was_asked_for(observer, program, reach):
    visits = [make_draft(observer, make_route(program)) for _ in range(3)]
    with transaction.atomic():
        assert [reach(observer, visit.pk) for visit in visits] == visits


@pytest.mark.django_db
def test_another_observers_visit_is_read_but_not_taken(program, observer, route):
    visit = make_submitted(observer, route)
    other = make_member(program)
    with transaction.atomic():
        assert lock_visit(other, visit.pk) == visit
    with pytest.raises(NotYours) as refused, transaction.atomic():
        lock_own_visit(other, visit.pk)
    assert type(refused.value) is NotYours


@pytest.mark.django_db
def test_an_own_visit_in_a_program_that_is_not_this_one(observer, route):
    visit = make_draft(observer, route)
    elsewhere = make_member(make_program(), person=observer.person)
    with pytest.raises(NotYours), transaction.atomic():
        lock_own_visit(elsewhere, visit.pk)


@pytest.mark.django_db
def test_a_draft_that_was_thrown_away(program, observer, route):
    draft = make_draft(observer, route)
    discard_draft(observer, draft.pk)
    with pytest.raises(DraftDiscarded), transaction.atomic():
        lock_own_visit(observer, draft.pk)
    with pytest.raises(NotYours) as refused, transaction.atomic():
        lock_own_visit(make_member(program), draft.pk)
    assert type(refused.value) is NotYours


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("reach", [lock_own_visit, lock_visit])
def test_the_visit_alone_is_locked(observer, route, reach):
    """Two coordinators review two visits of one route side by side."""
    draft = make_draft(observer, route)
    with transaction.atomic():
        reach(observer, draft.pk)
        assert locked_rows() == {"visit"}
    assert locked_rows() == set()


def locked_rows() -> set[str]:
    """Which rows another connection finds locked."""
    other = connections.create_connection("default")
    locked = set()
    try:
        for model in (Visit, Route, Program):
            with other.cursor() as cursor:
                cursor.execute(f"SELECT count(*) FROM {model._meta.db_table}")
                (every,) = cursor.fetchone()
                cursor.execute("BEGIN")
                cursor.execute(f"SELECT id FROM {model._meta.db_table} FOR UPDATE SKIP LOCKED")
                free = len(cursor.fetchall())
                cursor.execute("ROLLBACK")
            if free < every:
                locked.add(model._meta.model_name)
    finally:
        other.close()
    return locked
