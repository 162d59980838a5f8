"""What every verb of a visit does alike: all or nothing, when, and with what in its notes."""

import datetime as dt

import pytest
from django.core.exceptions import PermissionDenied
from django.utils import timezone
from procrastinate.contrib.django.models import ProcrastinateJob

from surveys.models import (
    BackgroundRun,
    ReviewStep,
    RunKind,
    RunState,
    StoredFinding,
    Submission,
    Visit,
    VisitState,
)
from surveys.visits import verbs
from surveys.visits.conversation import write_message
from surveys.visits.drafts import discard_draft
from surveys.visits.exceptions import (
    NotYours,
    QueriesOpen,
    ReviewBegun,
    StaleRevision,
    VisitRefused,
    WrongState,
)
from tests.support.builders import (
    make_checklist,
    make_member,
    make_program,
    make_route,
)
from tests.support.sheets import (
    changes,
    make_draft,
    make_submitted,
    plain_cells,
)

SITE = "https://frogs.example.org"


@pytest.fixture
def route(program):
    make_checklist(program, "Pseudacris crucifer")
    return make_route(program)


def queried(observer, route):
    """A submitted visit with one query."""
    cells = plain_cells() | {"stops.1.finished_at": "21:03"}
    return make_submitted(observer, route, cells)


# verb → how the visit is before, and the verb with a note " A reason. "
CASES = {
    "submit": (
        make_draft,
        lambda observer, coordinator, visit: verbs.submit_visit(
            observer, visit.pk, revision=visit.revision
        ),
    ),
    "correct": (
        make_submitted,
        lambda observer, coordinator, visit: verbs.correct_cells(
            coordinator,
            visit.pk,
            changes({"notes": "Fog."}),
            reason=" A reason. ",
            revision=visit.revision,
        ),
    ),
    "settle": (
        queried,
        lambda observer, coordinator, visit: verbs.settle(
            coordinator,
            visit.findings.get(severity="query").pk,
            settlement="counts",
            reason=" A reason. ",
            revision=visit.revision,
        ),
    ),
    "accept": (
        make_submitted,
        lambda observer, coordinator, visit: verbs.accept(
            coordinator, visit.pk, revision=visit.revision
        ),
    ),
    "send back": (
        make_submitted,
        lambda observer, coordinator, visit: verbs.send_back(
            coordinator, visit.pk, note=" A reason. ", revision=visit.revision, site_url=SITE
        ),
    ),
    "withdraw": (
        make_submitted,
        lambda observer, coordinator, visit: verbs.withdraw(
            observer, visit.pk, revision=visit.revision
        ),
    ),
    "set aside": (
        make_submitted,
        lambda observer, coordinator, visit: verbs.set_aside(
            coordinator, visit.pk, note=" A reason. ", revision=visit.revision
        ),
    ),
    "reopen": (
        make_submitted,
        lambda observer, coordinator, visit: verbs.reopen(
            coordinator, visit.pk, note=" A reason. ", revision=visit.revision
        ),
    ),
}


def prepared(case, observer, coordinator, route):
    make, verb = CASES[case]
    visit = make(observer, route)
    if case == "reopen":
        visit = verbs.accept(coordinator, visit.pk, revision=visit.revision)
    return visit, lambda: verb(observer, coordinator, visit)


def everything() -> list:
    return [
        list(model.objects.order_by("pk").values())
        for model in (Visit, Submission, StoredFinding, ReviewStep, BackgroundRun, ProcrastinateJob)
    ]


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("case", CASES)
def test_a_verb_that_fails_at_its_last_write_leaves_nothing(
    case, observer, coordinator, route, monkeypatch
):
    _, act = prepared(case, observer, coordinator, route)
    before = everything()

    def fail(**_):
        raise RuntimeError("The disk is full.")

    monkeypatch.setattr(ReviewStep.objects, "create", fail)
    with pytest.raises(RuntimeError, match="disk is full"):
        act()
    assert everything() == before
    monkeypatch.undo()
    act()
    assert everything() != before


@pytest.mark.django_db
@pytest.mark.parametrize("case", CASES)
def test_a_step_says_who_when_and_why(case, observer, coordinator, route):
    visit, act = prepared(case, observer, coordinator, route)
    begun = timezone.now()
    after = act()
    step = ReviewStep.objects.latest("pk")
    assert begun <= step.at <= timezone.now()
    assert step.by == (observer if case in ("submit", "withdraw") else coordinator).person
    assert step.revision == after.revision == visit.revision + 1
    assert after.pk == visit.pk
    settled = "listening-too-short: counts. A reason."
    reasons = {"submit": "", "withdraw": "", "accept": "", "settle": settled}
    assert step.note == reasons.get(case, "A reason.")
    visit.refresh_from_db()
    assert (visit.revision, visit.state) == (after.revision, after.state)


@pytest.mark.django_db
def test_an_observer_withdraws_a_visit_until_it_is_reviewed(program, observer, coordinator, route):
    visit = queried(observer, route)
    assert not verbs.may_withdraw(coordinator, visit)
    for other in (coordinator, make_member(program)):
        with pytest.raises(NotYours):
            verbs.withdraw(other, visit.pk, revision=visit.revision)
    with pytest.raises(StaleRevision):
        verbs.withdraw(observer, visit.pk, revision=visit.revision - 1)
    write_message(observer, visit.pk, "Stop 3 was wrong.")
    assert verbs.may_withdraw(observer, visit)
    back = verbs.withdraw(observer, visit.pk, revision=visit.revision)
    assert back.state == VisitState.SENT_BACK
    assert Submission.objects.count() == 1
    with pytest.raises(WrongState):
        discard_draft(observer, visit.pk)
    again = verbs.submit_visit(observer, visit.pk, revision=back.revision)
    query = again.findings.get(severity="query").pk
    read = verbs.settle(
        coordinator, query, settlement="counts", reason="Fog.", revision=again.revision
    )
    assert not verbs.may_withdraw(observer, read)
    with pytest.raises(ReviewBegun, match="reviewing this visit already"):
        verbs.withdraw(observer, visit.pk, revision=read.revision)


@pytest.mark.django_db
@pytest.mark.parametrize("case", ["submit", "correct"])
def test_a_submission_is_what_was_on_the_sheet(case, observer, coordinator, route):
    _, act = prepared(case, observer, coordinator, route)
    begun = timezone.now()
    after = act()
    submission = Submission.objects.latest("pk")
    assert submission.revision == after.revision
    assert submission.cells == after.cells == Visit.objects.get().cells
    assert begun <= submission.submitted_at <= timezone.now()
    assert ReviewStep.objects.latest("pk").at == submission.submitted_at


@pytest.mark.django_db
def test_a_moment_that_is_given_is_kept(observer, route):
    draft = make_draft(observer, route)
    at = dt.datetime(2024, 4, 16, 3, 0, tzinfo=dt.UTC)
    visit = verbs.submit_visit(observer, draft.pk, revision=draft.revision, now=at)
    assert visit.submitted_at == at
    assert ReviewStep.objects.get().at == Submission.objects.get().submitted_at == at


@pytest.mark.django_db
def test_a_sheet_is_judged_as_of_the_moment_it_is_handed_in(observer, route):
    draft = make_draft(observer, route)
    noon_before = dt.datetime(2024, 4, 15, 17, 0, tzinfo=dt.UTC)
    with pytest.raises(VisitRefused) as refused:
        verbs.submit_visit(observer, draft.pk, revision=draft.revision, now=noon_before)
    assert {f.code for f in refused.value.findings} == {"future-time"}


@pytest.mark.django_db
def test_submitting_twice_is_done_once(observer, route):
    draft = make_draft(observer, route)
    first = verbs.submit_visit(observer, draft.pk, revision=draft.revision)
    second = verbs.submit_visit(observer, draft.pk, revision=draft.revision)
    assert (first.pk, first.revision) == (second.pk, second.revision)
    assert Submission.objects.count() == ReviewStep.objects.count() == 1


@pytest.mark.django_db
def test_a_correction_is_not_taken_for_the_observers_own_submission(observer, coordinator, route):
    """A phone that missed the correction sends the revision that the coordinator started from."""
    visit = make_submitted(observer, route)
    options = {"reason": "Typed wrongly.", "revision": visit.revision}
    verbs.correct_cells(coordinator, visit.pk, changes({"notes": "Fog."}), **options)
    with pytest.raises(WrongState):
        verbs.submit_visit(observer, visit.pk, revision=visit.revision)


@pytest.mark.django_db
@pytest.mark.parametrize("was_seen", ["", "Rain."])
def test_a_correction_fills_and_replaces_whatever_stood_there(
    observer, coordinator, route, was_seen
):
    visit = make_submitted(observer, route, plain_cells() | {"notes": "Mist."})
    typed = changes({"notes": "Fog.", "stops.1.notes": "A dog."}, was={"notes": was_seen})
    visit = verbs.correct_cells(
        coordinator, visit.pk, typed, reason="By phone.", revision=visit.revision
    )
    assert (visit.cells["notes"], visit.cells["stops.1.notes"]) == ("Fog.", "A dog.")


@pytest.mark.django_db
def test_a_settlement_is_signed(observer, coordinator, route):
    visit = queried(observer, route)
    finding = visit.findings.get(severity="query")
    begun = timezone.now()
    verbs.settle(
        coordinator, finding.pk, settlement="counts", reason="Why not.", revision=visit.revision
    )
    finding.refresh_from_db()
    assert begun <= finding.settled_at <= timezone.now()
    step = ReviewStep.objects.latest("pk")
    assert step.at == finding.settled_at


@pytest.mark.django_db
@pytest.mark.parametrize("whose", ["another program's", "nobody's"])
def test_a_finding_that_is_not_there(observer, coordinator, route, whose):
    visit = queried(observer, route)
    finding = visit.findings.get(severity="query")
    stranger = make_member(make_program(), coordinator.role)
    with pytest.raises(NotYours) as missing:
        verbs.settle(
            stranger,
            finding.pk if whose == "another program's" else 0,
            settlement="counts",
            reason="Why not.",
            revision=visit.revision,
        )
    assert str(missing.value) == (
        "There is no such finding. The visit may have been submitted again."
    )


@pytest.mark.django_db
def test_who_may_not_review_does_not_learn_which_findings_there_are(observer):
    with pytest.raises(PermissionDenied):
        verbs.settle(observer, 0, settlement="counts", reason="Why not.", revision=1)


@pytest.mark.django_db
def test_the_finding_that_was_asked_for_is_settled(observer, coordinator, route):
    visits = [queried(observer, route) for _ in range(2)]
    for visit in visits:
        finding = visit.findings.get(code="listening-too-short")
        verbs.settle(
            coordinator, finding.pk, settlement="counts", reason="Yes.", revision=visit.revision
        )
        finding.refresh_from_db()
        assert finding.settlement == "counts"


@pytest.mark.django_db
def test_open_queries_come_with_what_is_shown_of_them(
    observer, coordinator, route, django_assert_num_queries
):
    species = observer.program.checklist.get().species
    visit = make_submitted(observer, route, plain_cells(3, {2: {species: "-"}}))
    with pytest.raises(QueriesOpen) as refused:
        verbs.accept(coordinator, visit.pk, revision=visit.revision)
    with django_assert_num_queries(0):
        assert [(f.stop.number, f.species) for f in refused.value.findings] == [(2, species)]


@pytest.mark.django_db
def test_a_note_that_is_no_query_is_left_alone(observer, coordinator, route):
    """Settled queries and mere notes do not stand in the way of accepting."""
    visit = queried(observer, route)
    query = visit.findings.get(severity="query")
    visit = verbs.settle(
        coordinator, query.pk, settlement="left_out", reason="Short.", revision=visit.revision
    )
    assert verbs.accept(coordinator, visit.pk, revision=visit.revision).state == "accepted"


@pytest.mark.django_db
def test_trends_are_fitted_again_when_a_visit_begins_or_ceases_to_count(
    observer, coordinator, route
):
    fits = BackgroundRun.objects.filter(kind=RunKind.FIT, program=coordinator.program)
    visit = make_submitted(observer, route)
    visit = verbs.set_aside(coordinator, visit.pk, note="Practice.", revision=visit.revision)
    visit = verbs.reopen(coordinator, visit.pk, note="Real.", revision=visit.revision)
    assert fits.count() == 0
    visit = verbs.accept(coordinator, visit.pk, revision=visit.revision)
    assert fits.count() == 1
    fits.update(state=RunState.DONE, finished_at=timezone.now())
    verbs.reopen(coordinator, visit.pk, note="Doubts.", revision=visit.revision)
    assert fits.count() == BackgroundRun.objects.count() == 2
    assert Visit.objects.get().state == VisitState.SUBMITTED


@pytest.mark.django_db
def test_the_mail_is_about_the_step_that_sent_the_visit_back(observer, coordinator, route):
    visit = make_submitted(observer, route)
    verbs.send_back(
        coordinator, visit.pk, note="Which pond?", revision=visit.revision, site_url=SITE
    )
    (job,) = ProcrastinateJob.objects.filter(queue_name="mail")
    step = ReviewStep.objects.get(step="sent_back")
    assert job.args == {"step_id": step.pk, "site_url": SITE}


@pytest.mark.django_db
def test_without_an_address_of_the_site_the_mail_has_none(observer, coordinator, route):
    visit = make_submitted(observer, route)
    verbs.send_back(coordinator, visit.pk, note="Which pond?", revision=visit.revision)
    (job,) = ProcrastinateJob.objects.filter(queue_name="mail")
    assert job.args["site_url"] == ""
