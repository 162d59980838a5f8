"""Two people at the same moment: real transactions, both waiting for the same row."""

import datetime as dt
import threading
import time
import uuid
from collections.abc import Callable

import pytest
from django.db import connection, transaction

from accounts.models import Role
from surveys.models import (
    DiscardedDraft,
    ReviewStep,
    Step,
    Submission,
    Visit,
    VisitState,
)
from surveys.visits import verbs
from surveys.visits.drafts import (
    discard_draft,
    save_cells,
    start_visit,
)
from surveys.visits.exceptions import (
    NotYours,
    StaleRevision,
    VisitError,
    WrongState,
)
from tests.support.builders import (
    make_member,
    make_route,
)
from tests.support.sheets import (
    NIGHT,
    changes,
    make_draft,
    make_submitted,
    plain_cells,
)

pytestmark = pytest.mark.django_db(transaction=True)
# Only a lock that never opens takes so long.
PATIENCE_S = 120


def at_once(visit: Visit | None, *actions: Callable[[], object]) -> list[object]:
    """Run the actions in threads of their own, and hand back results or errors.

    With a visit, its row is held until every action waits for it.
    """
    results: list[object] = [None] * len(actions)
    together = threading.Barrier(len(actions))

    def run(place: int, action: Callable[[], object]) -> None:
        try:
            together.wait(PATIENCE_S)
            results[place] = action()
        except (VisitError, NotYours) as error:
            results[place] = error
        finally:
            connection.close()

    threads = [
        threading.Thread(target=run, args=(place, action)) for place, action in enumerate(actions)
    ]
    with transaction.atomic():
        if visit is not None:
            Visit.objects.select_for_update().get(pk=visit.pk)
        for thread in threads:
            thread.start()
        if visit is not None:
            wait_until_blocked(len(actions))
    for thread in threads:
        thread.join(PATIENCE_S)
        assert not thread.is_alive()
    return results


def wait_until_blocked(allowed: int) -> None:
    """Wait until that many connections stand in line for a lock."""
    deadline = time.monotonic() + PATIENCE_S
    blocked = 0
    while blocked < allowed:
        assert time.monotonic() < deadline, f"only {blocked} of {allowed} wait for the row"
        with connection.cursor() as cursor:
            # Within a transaction the statistics are a snapshot.
            cursor.execute("SELECT pg_stat_clear_snapshot()")
            cursor.execute(
                "SELECT count(*) FROM pg_stat_activity"
                " WHERE datname = current_database() AND wait_event_type = 'Lock'"
            )
            (blocked,) = cursor.fetchone()
        time.sleep(0.02)


@pytest.fixture
def route(program):
    return make_route(program)


@pytest.fixture
def coordinators(program):
    return [make_member(program, Role.COORDINATOR) for _ in range(2)]


def test_two_coordinators_accept(observer, coordinators, route):
    visit = make_submitted(observer, route)
    results = at_once(
        visit,
        *(
            lambda member=member: verbs.accept(member, visit.pk, revision=visit.revision)
            for member in coordinators
        ),
    )
    assert sorted(type(result).__name__ for result in results) == ["Visit", "WrongState"]
    visit.refresh_from_db()
    assert visit.state == VisitState.ACCEPTED
    assert ReviewStep.objects.filter(step=Step.ACCEPTED).count() == 1


def test_one_accepts_while_the_other_sends_back(observer, coordinators, route):
    visit = make_submitted(observer, route)
    first, second = coordinators
    results = at_once(
        visit,
        lambda: verbs.accept(first, visit.pk, revision=visit.revision),
        lambda: verbs.send_back(second, visit.pk, note="Why?", revision=visit.revision),
    )
    (won,) = [result for result in results if isinstance(result, Visit)]
    (lost,) = [result for result in results if isinstance(result, WrongState)]
    assert Visit.objects.get().state == won.state == lost.visit.state
    assert ReviewStep.objects.exclude(step=Step.SUBMITTED).count() == 1


def test_two_coordinators_settle_the_same_query(observer, coordinators, route):
    visit = make_submitted(observer, route, plain_cells() | {"stops.1.finished_at": "21:03"})
    finding = visit.findings.get(severity="query")
    results = at_once(
        visit,
        *(
            lambda member=member, answer=answer: verbs.settle(
                member,
                finding.pk,
                settlement=answer,
                reason=f"It is {answer}.",
                revision=visit.revision,
            )
            for member, answer in zip(coordinators, ["counts", "left_out"], strict=True)
        ),
    )
    assert sorted(type(result).__name__ for result in results) == ["StaleRevision", "Visit"]
    finding.refresh_from_db()
    winner = coordinators[[isinstance(result, Visit) for result in results].index(True)]
    assert finding.settled_by == winner.person
    assert finding.reason == f"It is {finding.settlement}."
    assert ReviewStep.objects.filter(step=Step.SETTLED).count() == 1


def test_the_same_submission_twice(observer, route):
    draft = make_draft(observer, route)

    def submit():
        return verbs.submit_visit(observer, draft.pk, revision=draft.revision)

    first, second = at_once(draft, submit, submit)
    assert first.revision == second.revision == draft.revision + 1
    assert Submission.objects.count() == 1
    assert ReviewStep.objects.count() == 1
    assert Visit.objects.get().periods.count() == 3


def test_typing_during_submission_loses_nothing(observer, route):
    draft = make_draft(observer, route)
    results = at_once(
        draft,
        lambda: verbs.submit_visit(observer, draft.pk, revision=draft.revision),
        lambda: save_cells(observer, draft.pk, changes({"notes": "fog"})),
    )
    visit = Visit.objects.get()
    if isinstance(results[0], Visit):
        assert isinstance(results[1], WrongState)
        assert visit.state == VisitState.SUBMITTED
    else:
        assert isinstance(results[0], StaleRevision)
        assert (visit.state, visit.cells["notes"]) == (VisitState.DRAFT, "fog")


def test_two_devices_type_different_cells(observer, route):
    draft = make_draft(observer, route, {})
    results = at_once(
        draft,
        lambda: save_cells(observer, draft.pk, changes({"stops.1.paused_minutes": "1"})),
        lambda: save_cells(observer, draft.pk, changes({"stops.2.paused_minutes": "2"})),
    )
    assert [result.conflicts for result in results] == [(), ()]
    cells = Visit.objects.get().cells
    assert (cells["stops.1.paused_minutes"], cells["stops.2.paused_minutes"]) == ("1", "2")


def test_starting_the_same_visit_twice_at_once(observer, route):
    key = uuid.uuid4()

    def start():
        return start_visit(observer, route=route, night=NIGHT, visit_id=key, source="phone")

    first, second = at_once(None, start, start)
    assert first.pk == second.pk == key
    assert Visit.objects.count() == 1
    assert Visit.objects.get().night == dt.date(2024, 4, 15)


def test_discarding_and_starting_a_draft_exclude_each_other(observer, program):
    """Whichever comes first, the draft is gone."""
    route, key = make_route(program), uuid.uuid4()
    for _ in range(5):
        at_once(
            None,
            lambda: start_visit(observer, route=route, night=NIGHT, visit_id=key),
            lambda: discard_draft(observer, key),
        )
        assert not Visit.objects.exists()
        DiscardedDraft.objects.all().delete()
