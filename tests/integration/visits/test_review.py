"""The verbs of review: settle, accept, send back, set aside, reopen, correct."""

import pytest
from django.core.exceptions import PermissionDenied

from accounts.models import Role
from surveys.models import (
    CallIndex,
    ReviewStep,
    Settlement,
    Step,
    Submission,
    Visit,
    VisitState,
)
from surveys.visits import verbs
from surveys.visits.exceptions import (
    NotSettleable,
    NotYours,
    QueriesOpen,
    ReasonMissing,
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

NOTE_VERBS = [verbs.send_back, verbs.set_aside]


@pytest.fixture
def species(program):
    return make_checklist(program, "Pseudacris crucifer", "Anaxyrus americanus")


@pytest.fixture
def route(program):
    return make_route(program)


@pytest.fixture
def clean(observer, route, species):
    """A submitted visit without queries."""
    peeper, toad = species
    return make_submitted(observer, route, plain_cells(3, {1: {peeper: 2, toad: 1}, 2: {toad: 3}}))


@pytest.fixture
def queried(observer, route, species):
    """A submitted visit with one query on stop 2 and one on a species at stop 1."""
    peeper, toad = species
    cells = plain_cells(3, {1: {peeper: "-", toad: 1}, 2: {toad: 3}, 3: {peeper: 2}})
    return make_submitted(observer, route, cells | {"stops.2.finished_at": "21:13"})


def settle_all(member, visit, answers):
    """Settle by finding code; returns the visit as it then is."""
    for finding in list(visit.findings.filter(severity="query")):
        visit = verbs.settle(
            member,
            finding.pk,
            settlement=answers.get(finding.code, "counts"),
            reason="Seen and judged.",
            revision=visit.revision,
        )
    return visit


def counting(visit):
    """What counts: the visit, stop numbers, and (stop, index) of calls."""
    visit.refresh_from_db()
    stops = visit.periods.filter(counts_in_trends=True).values_list("stop__number", flat=True)
    calls = CallIndex.objects.filter(period__visit=visit, counts_in_trends=True)
    return (
        visit.counts_in_trends,
        set(stops),
        set(calls.values_list("period__stop__number", "species__scientific_name", "index")),
    )


# Accepting


def test_an_accepted_visit_counts(coordinator, clean):
    visit = verbs.accept(coordinator, clean.pk, revision=clean.revision)
    assert (visit.state, visit.revision) == (VisitState.ACCEPTED, clean.revision + 1)
    assert counting(visit) == (
        True,
        {1, 2, 3},
        {
            (1, "Pseudacris crucifer", 2),
            (1, "Anaxyrus americanus", 1),
            (2, "Anaxyrus americanus", 3),
        },
    )
    step = visit.steps.latest("pk")
    assert (step.step, step.by, step.revision) == (
        Step.ACCEPTED,
        coordinator.person,
        visit.revision,
    )


def test_skipped_stops_and_doubtful_calls_never_count(observer, coordinator, route, species):
    peeper, toad = species
    cells = plain_cells(1, {1: {peeper: "?", toad: 2}}) | {
        "stops.2.status": "skipped",
        "stops.2.skip_reason": "flooded",
    }
    visit = make_submitted(observer, route, cells)
    verbs.accept(coordinator, visit.pk, revision=visit.revision)
    assert counting(visit) == (True, {1}, {(1, "Anaxyrus americanus", 2)})


def test_visit_with_open_queries_cannot_be_accepted(coordinator, queried):
    with pytest.raises(QueriesOpen, match="2 questions are open") as caught:
        verbs.accept(coordinator, queried.pk, revision=queried.revision)
    assert {f.code for f in caught.value.findings} == {"index-missing", "listening-too-short"}
    assert counting(queried) == (False, set(), set())


TOAD_1, TOAD_2, PEEPER_3 = (
    (1, "Anaxyrus americanus", 1),
    (2, "Anaxyrus americanus", 3),
    (3, "Pseudacris crucifer", 2),
)


@pytest.mark.parametrize(
    ("answers", "expected"),
    [
        ({}, (True, {1, 2, 3}, {TOAD_1, TOAD_2, PEEPER_3})),
        # a finding at a stop leaves out the stop
        ({"listening-too-short": "left_out"}, (True, {1, 3}, {TOAD_1, PEEPER_3})),
        # a finding on a species leaves out that species at that stop
        ({"index-missing": "left_out"}, (True, {1, 2, 3}, {TOAD_1, TOAD_2, PEEPER_3})),
    ],
)
def test_left_out_data_does_not_count(coordinator, queried, answers, expected):
    visit = settle_all(coordinator, queried, answers)
    verbs.accept(coordinator, visit.pk, revision=visit.revision)
    assert counting(visit) == expected


def test_a_species_left_out_at_one_stop_still_counts_at_the_others(
    observer, coordinator, program, species
):
    peeper, toad = species
    program.checklist.filter(species=peeper).update(
        calls_from_month=6, calls_from_day=1, calls_to_month=7, calls_to_day=31
    )
    route = make_route(program, stops=2)
    heard = {1: {peeper: 2, toad: 1}, 2: {peeper: 1}}
    visit = make_submitted(observer, route, plain_cells(2, heard))
    first, second = visit.findings.filter(code="species-out-of-season").order_by("stop__number")
    for finding, settlement in ((first, "left_out"), (second, "counts")):
        visit = verbs.settle(
            coordinator,
            finding.pk,
            settlement=settlement,
            reason="Heard the recording.",
            revision=visit.revision,
        )
    verbs.accept(coordinator, visit.pk, revision=visit.revision)
    assert counting(visit) == (True, {1, 2}, {TOAD_1, (2, "Pseudacris crucifer", 1)})


def test_query_about_the_visit_leaves_out_all_of_it(observer, coordinator, route, species):
    peeper, _ = species
    cells = plain_cells(3, {1: {peeper: 2}}) | {"night": "2024-07-15"}
    visit = make_submitted(observer, route, cells)
    visit = settle_all(coordinator, visit, {"outside-window": "left_out"})
    verbs.accept(coordinator, visit.pk, revision=visit.revision)
    assert visit.state == VisitState.SUBMITTED  # the caller's copy is not touched
    assert counting(visit) == (False, set(), set())
    assert visit.state == VisitState.ACCEPTED


# Settling


def test_settling_leaves_a_reason_and_a_step(coordinator, queried):
    finding = queried.findings.get(code="listening-too-short")
    visit = verbs.settle(
        coordinator,
        finding.pk,
        settlement="left_out",
        reason=" Too short to count. ",
        revision=queried.revision,
    )
    finding.refresh_from_db()
    assert finding.settlement == Settlement.LEFT_OUT
    assert finding.reason == "Too short to count."
    assert finding.settled_by == coordinator.person
    assert finding.settled_at is not None
    step = visit.steps.latest("pk")
    assert step.step == Step.SETTLED
    assert step.note == "listening-too-short: excluded from trends. Too short to count."
    history = type(finding).pgh_event_model.objects.filter(pgh_obj_id=finding.pk)
    assert list(history.values_list("settlement", flat=True).order_by("pgh_id")) == ["", "left_out"]


def test_a_settlement_can_be_changed_while_the_visit_is_in_review(coordinator, queried):
    finding = queried.findings.get(code="listening-too-short")
    visit = queried
    for answer in ("left_out", "counts"):
        visit = verbs.settle(
            coordinator, finding.pk, settlement=answer, reason="Because.", revision=visit.revision
        )
    finding.refresh_from_db()
    assert finding.settlement == "counts"


@pytest.mark.parametrize(
    ("options", "error"),
    [
        ({"reason": "  "}, ReasonMissing),
        ({"settlement": ""}, NotSettleable),
        ({"settlement": "perhaps"}, NotSettleable),
    ],
)
def test_a_settlement_needs_an_answer_and_a_reason(coordinator, queried, options, error):
    finding = queried.findings.get(code="listening-too-short")
    answer = {"settlement": "counts", "reason": "Because.", "revision": queried.revision}
    with pytest.raises(error):
        verbs.settle(coordinator, finding.pk, **{**answer, **options})


def test_only_queries_are_settled(observer, coordinator, route):
    visit = make_submitted(observer, route, plain_cells(2))
    note = visit.findings.get(code="stop-left-blank")
    with pytest.raises(NotSettleable):
        verbs.settle(
            coordinator, note.pk, settlement="counts", reason="Why not.", revision=visit.revision
        )


def test_finding_of_another_program_is_refused(queried):
    stranger = make_member(make_program(), Role.COORDINATOR)
    finding = queried.findings.first()
    for finding_id in (finding.pk, 0):
        with pytest.raises(NotYours, match="no such finding"):
            verbs.settle(
                stranger,
                finding_id,
                settlement="counts",
                reason="Because.",
                revision=queried.revision,
            )


# Sending back, setting aside, opening again


def test_set_aside_and_reopen(coordinator, clean):
    visit = verbs.set_aside(
        coordinator, clean.pk, note="A training night.", revision=clean.revision
    )
    assert visit.state == VisitState.SET_ASIDE
    visit = verbs.reopen(coordinator, visit.pk, note="It counts.", revision=visit.revision)
    assert visit.state == VisitState.SUBMITTED
    assert list(visit.steps.order_by("pk").values_list("step", "note")) == [
        ("submitted", ""),
        ("set_aside", "A training night."),
        ("reopened", "It counts."),
    ]


def test_reopened_visit_no_longer_counts(coordinator, clean):
    visit = verbs.accept(coordinator, clean.pk, revision=clean.revision)
    visit = verbs.reopen(coordinator, visit.pk, note="Wrong route.", revision=visit.revision)
    assert counting(visit) == (False, set(), set())
    visit = verbs.accept(coordinator, visit.pk, revision=visit.revision)
    assert counting(visit)[1] == {1, 2, 3}


@pytest.mark.parametrize("verb", [*NOTE_VERBS, verbs.reopen])
def test_note_is_required(coordinator, clean, verb):
    visit = clean
    if verb is verbs.reopen:
        visit = verbs.accept(coordinator, clean.pk, revision=clean.revision)
    with pytest.raises(ReasonMissing, match="Write a reason"):
        verb(coordinator, visit.pk, note=" \n", revision=visit.revision)


# Who may, in which state, on which revision


def call(verb, member, visit, revision=None):
    options = {} if verb is verbs.accept else {"note": "A reason."}
    return verb(member, visit.pk, revision=revision or visit.revision, **options)


ALL_VERBS = [verbs.accept, *NOTE_VERBS, verbs.reopen]


@pytest.mark.parametrize("verb", ALL_VERBS)
def test_only_coordinators_of_the_program_review(verb, observer, partner, clean):
    for member in (observer, partner):
        with pytest.raises(PermissionDenied, match="does not allow you to review visits"):
            call(verb, member, clean)
    with pytest.raises(NotYours):
        call(verb, make_member(make_program(), Role.COORDINATOR), clean)
    assert Visit.objects.get().state == VisitState.SUBMITTED


@pytest.mark.parametrize("verb", ALL_VERBS)
def test_a_draft_cannot_be_reviewed(verb, observer, coordinator, route):
    draft = make_draft(observer, route)
    with pytest.raises(WrongState, match=r"The visit is marked “draft”; .* only while it is"):
        call(verb, coordinator, draft)


@pytest.mark.parametrize("verb", [verbs.accept, *NOTE_VERBS])
def test_accepted_visit_must_be_reopened_first(verb, coordinator, clean):
    visit = verbs.accept(coordinator, clean.pk, revision=clean.revision)
    with pytest.raises(WrongState):
        call(verb, coordinator, visit)


@pytest.mark.parametrize("verb", [verbs.accept, *NOTE_VERBS])
def test_a_stale_revision_changes_nothing(verb, coordinator, queried):
    revision = queried.revision
    visit = settle_all(coordinator, queried, {})
    with pytest.raises(StaleRevision) as caught:
        call(verb, coordinator, queried, revision=revision)
    assert caught.value.visit.revision == visit.revision
    assert Visit.objects.get().state == VisitState.SUBMITTED


def test_settling_on_a_stale_revision_changes_nothing(coordinator, queried):
    first, second = queried.findings.filter(severity="query")
    answer = {"settlement": "counts", "reason": "Because.", "revision": queried.revision}
    verbs.settle(coordinator, first.pk, **answer)
    with pytest.raises(StaleRevision):
        verbs.settle(coordinator, second.pk, **answer)
    second.refresh_from_db()
    assert second.settlement == ""


# Correcting


def test_correction_is_a_new_submission_and_the_old_one_is_kept(coordinator, queried):
    visit = verbs.correct_cells(
        coordinator,
        queried.pk,
        changes({"stops.2.finished_at": "21:16"}),
        reason="The observer wrote to me.",
        revision=queried.revision,
    )
    assert (visit.state, visit.revision) == (VisitState.SUBMITTED, queried.revision + 1)
    assert not visit.findings.filter(code="listening-too-short").exists()
    first, second = Submission.objects.order_by("revision")
    assert first.cells["stops.2.finished_at"] == "21:13"
    assert second.cells["stops.2.finished_at"] == "21:16"
    assert second.submitted_by == coordinator.person
    step = visit.steps.latest("pk")
    assert (step.step, step.note) == (Step.CORRECTED, "The observer wrote to me.")


def test_impossible_correction_is_refused_as_a_whole(coordinator, queried):
    with pytest.raises(VisitRefused):
        verbs.correct_cells(
            coordinator,
            queried.pk,
            changes({"stops.2.finished_at": "20:00"}),
            reason="Typing error.",
            revision=queried.revision,
        )
    queried.refresh_from_db()
    assert queried.cells["stops.2.finished_at"] == "21:13"
    assert Submission.objects.count() == 1


def test_who_may_correct_and_when(observer, coordinator, queried):
    typed = changes({"notes": "fog"})
    options = {"reason": "Because.", "revision": queried.revision}
    with pytest.raises(PermissionDenied):
        verbs.correct_cells(observer, queried.pk, typed, **options)
    with pytest.raises(ReasonMissing):
        verbs.correct_cells(coordinator, queried.pk, typed, **{**options, "reason": ""})
    with pytest.raises(StaleRevision):
        verbs.correct_cells(coordinator, queried.pk, typed, **{**options, "revision": 1})
    stranger = make_member(make_program(), Role.COORDINATOR)
    with pytest.raises(NotYours):
        verbs.correct_cells(stranger, queried.pk, typed, **options)
    assert ReviewStep.objects.count() == 1
