"""The demo as rows: what the verbs and rules would have made of it, and nothing else."""

import datetime as dt
import hashlib
import inspect
import io
import re
import wave
from collections import Counter

import pytest

from accounts.models import (
    Membership,
    Person,
    Role,
)
from surveys.demo import removal
from surveys.demo.load import load_demo
from surveys.demo.story import Scale
from surveys.demo.vouchers import NOTE
from surveys.models import (
    Assignment,
    CallIndex,
    ListeningPeriod,
    Program,
    Publication,
    Recording,
    RecordingState,
    Route,
    Settlement,
    Species,
    Stop,
    StoredFinding,
    Submission,
    Visit,
    VisitOddness,
    VisitState,
)
from surveys.programs.area import draw_area
from surveys.programs.history import HistoryFilters, history
from surveys.protocol.values import Severity
from surveys.visits.counting import count_in_trends
from surveys.visits.finding import where_of
from surveys.visits.judging import judge_sheet
from tests.support.builders import (
    make_accepted_visit,
    make_own_species,
    make_person,
    make_program,
    make_route,
)
from tests.support.publishing import publish_now

SMALL = Scale(until=dt.date(2026, 11, 25), seed=7, routes=3, years=2)
NOW = dt.datetime(2026, 11, 25, 18, tzinfo=dt.UTC)

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def demo(module_rows):
    """For tests that look at the rows; what one of them changes is rolled back."""
    load_demo(SMALL)


def content():
    """All cells of all visits, by route and night."""
    visits = Visit.objects.values_list("route__code", "night", "state", "cells", "revision")
    return sorted(visits, key=lambda row: (row[0], row[1]))


def test_stored_findings_are_what_judging_yields(demo):
    for visit in Visit.objects.exclude(state=VisitState.DRAFT).select_related(
        "route__program", "protocol_version"
    ):
        stored = [
            (row.code, row.severity, where_of(row), row.message)
            for row in visit.findings.select_related("stop", "species")
        ]
        judged = [(f.code, f.severity, f.where, f.message) for f in judge_sheet(visit, NOW)]
        assert stored == judged, visit.night


def test_what_counts_is_what_accepting_would_count(demo):
    def counting():
        return (
            set(Visit.objects.filter(counts_in_trends=True).values_list("pk", flat=True)),
            set(ListeningPeriod.objects.filter(counts_in_trends=True).values_list("pk", flat=True)),
            set(CallIndex.objects.filter(counts_in_trends=True).values_list("pk", flat=True)),
        )

    loaded = counting()
    assert all(loaded)
    for visit in Visit.objects.filter(state=VisitState.ACCEPTED):
        count_in_trends(visit, list(visit.findings.select_related("stop", "species")))
        visit.save()
    assert counting() == loaded


def test_every_query_of_an_accepted_visit_is_settled_with_a_reason(demo):
    queries = StoredFinding.objects.filter(severity=Severity.QUERY)
    accepted = queries.filter(visit__state=VisitState.ACCEPTED)
    assert accepted.exists()
    assert not accepted.filter(settlement="").exists()
    assert not accepted.filter(reason="").exists()
    assert queries.filter(visit__state=VisitState.SUBMITTED, settlement="").exists()


def test_submissions_and_steps_end_at_the_revision(demo):
    for visit in Visit.objects.exclude(state=VisitState.DRAFT).prefetch_related("steps"):
        steps = list(visit.steps.all())
        assert [step.revision for step in steps] == list(range(2, visit.revision + 1))
        times = [step.at for step in steps]
        assert times == sorted(times)
        assert visit.submissions.latest("revision").cells == visit.cells
    assert Submission.objects.filter(visit__state=VisitState.DRAFT).count() == 0


def test_again_does_nothing(demo):
    before = content()
    again = load_demo(Scale(until=dt.date(2027, 1, 5), seed=9, routes=2, years=1))
    assert all(program.was_there for program in again)
    assert content() == before


def publish_one_species(program):
    """A publication of the species heard most often: fits of all would take half a minute."""
    calls = CallIndex.objects.filter(period__visit__route__program=program)
    species, _ = Counter(calls.values_list("species", flat=True)).most_common(1)[0]
    calls.exclude(species=species).delete()
    program.checklist.exclude(species=species).delete()
    publish_now(program.memberships.filter(role=Role.COORDINATOR).first(), 2026)
    assert program.publications.exists()


def test_fresh_replaces_only_the_demo(demo):
    program = make_program()
    route = make_route(program)
    other = make_accepted_visit(route, make_person())
    before = content()
    recordings = set(Recording.objects.values_list("pk", "sha256"))
    winter = Program.objects.get(slug="saltgrass-winter")
    publish_one_species(winter)
    compared = Visit.objects.filter(route__program=winter).first()
    VisitOddness.objects.create(visit=compared, score=1, route_visits=1, route_changed_at=NOW)
    coordinator = winter.memberships.filter(role=Role.COORDINATOR).first()
    draw_area(coordinator, points="43.0, -88.5\n43.5, -88.5\n43.5, -88.0")
    own = make_own_species(winter)
    joint = Species.objects.create(
        program=winter, code="one-or-other", scientific_name="One or other", is_complex=True
    )
    joint.members.set([own, Species.objects.filter(program=None).first()])
    load_demo(SMALL, fresh=True)
    assert not Species.objects.exclude(program=None).exists()
    assert not VisitOddness.objects.exists()
    assert content() == before
    assert set(Recording.objects.values_list("pk", "sha256")) == recordings
    assert Visit.objects.filter(pk=other.pk).exists()
    assert not Publication.objects.exists()
    assert Program.objects.filter(slug="saltgrass-winter").exclude(pk=winter.pk).exists()


def test_the_demo_observer_has_something_on_tonight(demo):
    observer = Person.objects.get(email="observer@example.org")
    states = set(Visit.objects.filter(observer=observer).values_list("state", flat=True))
    assert {VisitState.DRAFT, VisitState.SENT_BACK} <= states
    draft = Visit.objects.get(observer=observer, state=VisitState.DRAFT)
    assert draft.night == dt.date(2026, 11, 24)
    assert draft.window == "First rains"
    assert Assignment.objects.filter(observer=observer, season_year=2027).count() >= 2
    sent_back = Visit.objects.filter(observer=observer, state=VisitState.SENT_BACK)
    assert all(visit.steps.latest("pk").note for visit in sent_back)


def test_somebody_waits_in_review(demo):
    waiting = Visit.objects.filter(state=VisitState.SUBMITTED)
    assert waiting.filter(route__program__slug="larkmoor-spring").exists()
    assert not waiting.filter(counts_in_trends=True).exists()


def test_there_is_something_to_listen_to(demo):
    recordings = Recording.objects.select_related("visit__route__program", "stop", "species")
    assert set(recordings.values_list("visit__state", flat=True)) == {
        VisitState.SUBMITTED, VisitState.ACCEPTED,
    }  # fmt: skip
    assert set(recordings.values_list("visit__route__program__slug", flat=True)) == {
        "larkmoor-spring", "saltgrass-winter",
    }  # fmt: skip
    for one in recordings:
        assert one.state == RecordingState.COMPLETE
        assert one.uploaded_by_id == one.visit.observer_id
        assert NOTE in one.visit.notes
        period = one.visit.periods.get(stop=one.stop)
        assert period.calls.get(species=one.species).index
        assert period.started_at < one.recorded_at < period.finished_at
        with one.audio.open("rb") as file:
            content = file.read()
        assert hashlib.sha256(content).hexdigest() == one.sha256
        with wave.open(io.BytesIO(content)) as sound:
            assert sound.getnframes() / sound.getframerate() == one.seconds


def test_season_crosses_new_year(demo):
    winter = Visit.objects.filter(route__program__slug="saltgrass-winter", season_year=2026)
    months = {night.month for night in winter.values_list("night", flat=True)}
    assert months & {11, 12}
    assert months & {1, 2, 3, 4, 5}


def test_settled_both_ways(demo):
    assert StoredFinding.objects.filter(settlement=Settlement.COUNTS).exists()
    assert StoredFinding.objects.filter(settlement=Settlement.LEFT_OUT).exists()


def test_roles(demo):
    for slug in ("larkmoor-spring", "saltgrass-winter"):
        roles = Membership.objects.filter(program__slug=slug, active=True)
        assert roles.filter(role=Role.COORDINATOR, person__email="coordinator@example.org").exists()
        assert roles.filter(role=Role.PARTNER).count() == 1


def test_a_change_of_the_set_up_tells_from_what(demo):
    coordinator = Membership.objects.filter(role=Role.COORDINATOR).order_by("pk").first()
    route, stop = (
        model.objects.filter(**{scope: coordinator.program}).first()
        for model, scope in ((Route, "program"), (Stop, "route__program"))
    )
    for kind, thing in (("routes", route), ("stops", stop)):
        before = thing.name
        thing.name = "Somewhere else"
        thing.save()
        entries, _ = history(coordinator, HistoryFilters(kind=kind), size=2)
        assert [(one.before, one.now) for one in entries[0].changes] == [(before, "Somewhere else")]
        assert entries[1].act == "insert"
        assert entries[1].number > 1


def test_every_row_of_a_program_is_taken_out_with_it():
    """A table that was added and forgotten there would keep the demo from being replaced once
    somebody has used it."""
    source = inspect.getsource(removal)
    found, to_follow = set(), [Program]
    while to_follow:
        for relation in to_follow.pop()._meta.related_objects:
            held = not relation.many_to_many and relation.field.db_constraint
            if held and relation.related_model not in found:
                found.add(relation.related_model)
                to_follow.append(relation.related_model)
    named = set(re.findall(r"^        (\w+)\.objects\.filter", source, re.MULTILINE))
    assert {model.__name__ for model in found} - named == {"Visit"}
    assert re.search(r"^        visits,$", source, re.MULTILINE)
