"""Findings are stored as code and parameters and said when they are read."""

import importlib

import pytest
from django.apps import apps

from surveys.models import StoredFinding
from surveys.visits.verbs import submit_visit
from tests.support.builders import make_checklist, make_route
from tests.support.sheets import make_submitted, plain_cells, type_cells

migration = importlib.import_module("surveys.migrations.0002_findings_as_parameters")
WORDS = "You listened at stop 2 for 2 min; the protocol asks for 5 min."
OLD_WORDS = "The listening at stop 2 took 2 min; the protocol asks for 5 min."
REMEDY = "If you are still at the stop, listen again for the full time."


@pytest.fixture
def short(program, observer):
    """A submitted visit with one finding: the listening at stop 2 took two minutes."""
    (peeper,) = make_checklist(program, "Pseudacris crucifer")
    cells = plain_cells(3, {1: {peeper: 2}}) | {"stops.2.finished_at": "21:13"}
    return make_submitted(observer, make_route(program), cells)


def stored_in_words(visit, message=OLD_WORDS):
    visit.findings.update(variant="", params={}, message_as_stored=message, remedy_as_stored=REMEDY)
    return visit.findings.get()


def test_no_words_are_stored(short):
    finding = short.findings.get()
    assert finding.code == "listening-too-short"
    assert finding.params == {
        "stop": 2,
        "length": {"duration_s": 120},
        "wanted": {"duration_s": 300},
    }
    assert finding.message_as_stored == finding.remedy_as_stored == ""
    assert finding.message == WORDS
    assert finding.remedy.startswith(REMEDY)


def test_the_migration_reads_words_back_into_parameters(short):
    before = short.findings.get()
    stored_in_words(short)
    migration.read_words(apps, None)
    after = short.findings.get()
    assert (after.variant, after.params) == (before.variant, before.params)
    assert after.message_as_stored == after.remedy_as_stored == ""


def test_words_that_cannot_be_read_back_stay(short):
    stored_in_words(short, "The listening was rather short.")
    migration.read_words(apps, None)
    finding = short.findings.get()
    assert finding.message == "The listening was rather short."
    assert finding.remedy == REMEDY
    assert finding.params == {}


def test_the_migration_can_be_taken_back(short):
    migration.say_words(apps, None)
    finding = short.findings.get()
    assert finding.message_as_stored == WORDS
    assert finding.remedy_as_stored.startswith(REMEDY)


def test_a_settled_finding_in_words_keeps_its_settlement_when_the_sheet_comes_again(
    short, observer, coordinator
):
    finding = stored_in_words(short, WORDS)
    answer = {"settlement": "counts", "reason": "Long enough.", "settled_by": coordinator.person}
    StoredFinding.objects.filter(pk=finding.pk).update(**answer, settled_at=short.submitted_at)
    short.state = "sent_back"
    short.save()
    visit = type_cells(observer, short, {"notes": "Cold."}).visit
    submit_visit(observer, visit.pk, revision=visit.revision)
    assert visit.findings.get().settlement == "counts"
