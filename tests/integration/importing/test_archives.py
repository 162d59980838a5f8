"""Visits of old files are judged as somebody can review them who was not there."""

import pytest

from surveys.importing.uploads import commit_upload
from surveys.models import CallIndex, Visit
from surveys.visits import verbs
from surveys.visits.judging import judge_sheet
from surveys.visits.many import Selection, accept_many, open_rules, settle_many
from tests.integration.importing.conftest import wide

pytestmark = pytest.mark.django_db

# Stops 1 and 3 were listened to for two minutes of five; no sheet has a time of arrival.
SHORT = wide(
    "R1,2024-04-15,1,21:14,21:16,48,3,1",
    "R1,2024-04-15,2,21:30,21:35,48,3,1",
    "R1,2024-04-15,3,21:44,21:46,48,3,1",
)


@pytest.fixture
def imported(attempt, coordinator):
    commit_upload(coordinator, attempt(SHORT).upload)
    return Visit.objects.get()


def counting(visit):
    stops = visit.periods.filter(counts_in_trends=True).values_list("stop__number", flat=True)
    calls = CallIndex.objects.filter(period__visit=visit, counts_in_trends=True)
    return set(stops), set(calls.values_list("period__stop__number", flat=True))


def test_one_question_for_all_stops_and_one_answer(imported, coordinator):
    (question,) = imported.findings.filter(code="listening-too-short")
    assert (question.severity, question.stop.number) == ("query", 1)
    assert question.message.endswith("Also at stop 3.")
    # Judged again, as after a correction, it is the same.
    stored = {(f.code, f.severity, f.message) for f in imported.findings.all()}
    assert {(f.code, f.severity, f.message) for f in judge_sheet(imported)} == stored
    visit = verbs.settle(
        coordinator, question.pk, settlement="left_out", reason="Short.", revision=imported.revision
    )
    for finding in visit.findings.filter(severity="query", settlement=""):
        visit = verbs.settle(
            coordinator, finding.pk, settlement="counts", reason="Fine.", revision=visit.revision
        )
    verbs.accept(coordinator, visit.pk, revision=visit.revision)
    assert counting(visit) == ({2}, {2})


def test_many_at_once_count_the_same(imported, coordinator):
    settle_many(
        coordinator,
        Selection(),
        rule="listening-too-short",
        settlement="left_out",
        reason="Short.",
        seen=1,
    )
    for rule in open_rules(coordinator, Selection()):
        settle_many(
            coordinator,
            Selection(),
            rule=rule.code,
            settlement="counts",
            reason="Fine.",
            seen=rule.questions,
        )
    accept_many(coordinator, Selection(), seen=1)
    assert counting(imported) == ({2}, {2})
