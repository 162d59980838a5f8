"""Handing in a sheet: what is refused, and which rows are written."""

import datetime as dt
from decimal import Decimal

import pytest
from django.core.exceptions import PermissionDenied
from django.db import IntegrityError

from surveys.models import (
    CallIndex,
    ListeningPeriod,
    Photo,
    ReviewStep,
    Settlement,
    Sighting,
    Step,
    Stop,
    StoredFinding,
    Submission,
    Visit,
    VisitState,
)
from surveys.seasons.visits import visit_grid
from surveys.visits.drafts import clear_stop, save_cells
from surveys.visits.exceptions import (
    NotYours,
    QueriesOpen,
    StaleRevision,
    VisitRefused,
    WrongState,
)
from surveys.visits.verbs import (
    accept,
    send_back,
    settle,
    submit_visit,
)
from tests.support.builders import (
    make_checklist,
    make_member,
    make_program,
    make_route,
)
from tests.support.sheets import (
    NIGHT,
    changes,
    make_draft,
    make_submitted,
    plain_cells,
    type_cells,
)

TOAD = "Anaxyrus americanus"


@pytest.fixture
def species(program):
    return make_checklist(program, "Pseudacris crucifer", TOAD)


@pytest.fixture
def route(program):
    return make_route(program)


@pytest.mark.parametrize(
    ("program_unit", "typed", "stored"),
    [
        ("F", {"rain_48h": "0.5"}, (Decimal("12.7"), False, "in")),
        ("F", {"rain_48h": "0.5", "rain_unit": "mm"}, (Decimal("0.5"), False, "mm")),
        ("F", {"rain_48h": "T"}, (None, True, "in")),
        ("F", {"rain_48h": "0"}, (Decimal(0), False, "in")),
        ("F", {"rain_48h": "-"}, (None, False, "")),
        ("F", {}, (None, False, "")),
        ("C", {"rain_48h": "0.5"}, (Decimal("0.5"), False, "mm")),
        ("C", {"rain_48h": "0.5", "rain_unit": "in"}, (Decimal("12.7"), False, "in")),
        ("C", {"rain_48h": "t"}, (None, True, "mm")),
    ],
)
def test_rain_is_read_in_the_unit_of_the_program_and_stored_in_mm(
    observer, program, program_unit, typed, stored
):
    program.temperature_unit = program_unit
    program.save()
    visit = make_submitted(observer, make_route(program), plain_cells(2, {}) | typed)
    visit.refresh_from_db()
    assert (visit.rain_48h_mm, visit.rain_48h_is_trace, visit.rain_48h_unit) == stored


def test_a_trace_of_rain_has_no_amount(observer, route):
    visit = make_submitted(observer, route, plain_cells(2, {}) | {"rain_48h": "T"})
    with pytest.raises(IntegrityError, match="visit_trace_of_rain_has_no_amount"):
        Visit.objects.filter(pk=visit.pk).update(rain_48h_mm=0)


def test_the_sheet_becomes_rows(observer, route, species):
    peeper, toad = species
    cells = plain_cells(2, {1: {peeper: 3, toad: 0}, 2: {peeper: "?", toad: "-"}}) | {
        "second_observer": "Kim Alder",
        "notes": "fog after ten",
        "rain_48h": "12,5",
        "start.air_temperature": "54F",
        "start.beaufort": "1",
        "end.sky": "overcast",
        "stops.1.interrupted": "yes",
        "stops.1.water_tonight": "full",
        "stops.1.paused_minutes": "0,5",
        "stops.1.finished_at": "21:07",
        "stops.1.latitude": "43.0731",
        "stops.1.longitude": "-89.4012",
        "stops.1.accuracy_m": "9",
        "stops.3.status": "skipped",
        "stops.3.skip_reason": "road flooded",
        "sightings.2.species": "anaxyrus americanus",
        "sightings.2.life_stage": "eggs",
        "sightings.2.stop": "2",
        "sightings.2.count": "3",
    }
    visit = make_submitted(observer, route, cells)
    visit.refresh_from_db()
    assert visit.state == VisitState.SUBMITTED
    assert visit.submitted_at is not None
    assert visit.counts_in_trends is False
    assert (visit.second_observer, visit.notes) == ("Kim Alder", "fog after ten")
    assert visit.rain_48h_mm == Decimal("12.5")
    assert (visit.start_air_temperature_c, visit.start_air_temperature_unit) == (
        Decimal("12.2222"),
        "F",
    )
    assert (visit.start_beaufort, visit.end_sky) == (1, "overcast")
    first, second, third = visit.periods.select_related("stop")
    assert first.started_at == dt.datetime(2024, 4, 16, 2, 1, tzinfo=dt.UTC)
    assert (first.paused_s, first.interrupted) == (30, True)
    assert (first.air_temperature_c, first.air_temperature_unit) == (Decimal("12.5"), "C")
    assert (first.water_tonight, first.measured_accuracy_m) == ("full", 9.0)
    assert (first.measured_at.x, first.measured_at.y) == (-89.4012, 43.0731)
    assert (third.status, third.skip_reason) == ("skipped", "road flooded")
    assert list(
        CallIndex.objects.order_by("period__stop__number", "species__code").values_list(
            "period", "species__code", "index", "not_sure", "counts_in_trends"
        )
    ) == [
        (first.pk, peeper.code, 3, False, False),
        # opened without an answer is missing, like not sure: never a zero
        (second.pk, toad.code, None, True, False),
        (second.pk, peeper.code, None, True, False),
    ]
    sighting = Sighting.objects.get()
    assert (sighting.row, sighting.species, sighting.life_stage) == (2, toad, "eggs")
    assert (sighting.stop.number, sighting.count) == (2, 3)


def test_a_stop_that_was_not_reached_has_no_period(observer, route):
    visit = make_submitted(observer, route, plain_cells(2))
    assert set(visit.periods.values_list("stop__number", flat=True)) == {1, 2}
    assert visit.findings.get().code == "stop-left-blank"


def test_submission_and_review_step(observer, route):
    draft = make_draft(observer, route)
    visit = submit_visit(observer, draft.pk, revision=draft.revision)
    assert visit.revision == draft.revision + 1
    submission = Submission.objects.get()
    assert (submission.revision, submission.cells) == (visit.revision, draft.cells)
    assert submission.submitted_by == observer.person
    step = ReviewStep.objects.get()
    assert (step.step, step.by, step.revision) == (Step.SUBMITTED, observer.person, visit.revision)


def test_retry_creates_no_second_submission(observer, coordinator, route):
    draft = make_draft(observer, route)
    first = submit_visit(observer, draft.pk, revision=draft.revision)
    again = submit_visit(observer, draft.pk, revision=draft.revision)
    assert again.revision == first.revision
    sent_back = send_back(coordinator, draft.pk, note="Why?", revision=first.revision)
    late = submit_visit(observer, draft.pk, revision=draft.revision)
    assert (late.state, late.revision) == (VisitState.SENT_BACK, sent_back.revision)
    assert Submission.objects.count() == 1
    assert ReviewStep.objects.filter(step=Step.SUBMITTED).count() == 1
    assert ListeningPeriod.objects.count() == 3


def test_findings_are_stored_with_stop_and_field(observer, route, species):
    peeper, _ = species
    cells = plain_cells(3, {2: {peeper: "-"}}) | {"stops.3.finished_at": "21:23"}
    visit = make_submitted(observer, route, cells)
    rows = visit.findings.values_list("code", "severity", "stop__number", "species__code", "field")
    assert set(rows) == {
        ("index-missing", "query", 2, peeper.code, "index"),
        ("listening-too-short", "query", 3, None, "finished_at"),
    }


@pytest.mark.parametrize(
    ("cells", "code", "address_stop"),
    [
        ({"stops.1.finished_at": "21:01"}, "finish-before-start", 1),
        ({"stops.1.finished_at": "20:59"}, "finish-before-start", 1),
        ({"stops.1.arrived_at": "21:02"}, "start-before-arrival", 1),
        ({"stops.1.status": "skipped"}, "skipped-with-times", 1),
        ({"stops.2.beaufort": "13"}, "unknown-wind-force", 2),
        ({"stops.2.beaufort": "-1"}, "unknown-wind-force", 2),
        ({"stops.2.sky": "3"}, "cell-unreadable", 2),
        ({"stops.2.sky": "99999999"}, "cell-unreadable", 2),
        ({"stops.2.noise": "5"}, "cell-unreadable", 2),
        ({"stops.2.paused_minutes": "70000"}, "cell-out-of-range", 2),
        ({"stops.2.paused_minutes": "599"}, "pause-longer-than-listening", 2),
        ({"stops.2.air_temperature": "99999"}, "cell-out-of-range", 2),
        ({"stops.2.latitude": "95", "stops.2.longitude": "0"}, "cell-out-of-range", 2),
        ({"stops.3.calls.pseudacris-crucifer": "4"}, "index-impossible", 3),
        ({"stops.3.calls.pseudacris-crucifer": "-1"}, "index-impossible", 3),
        ({"stops.3.calls.unicorn": "1"}, "species-unknown", 3),
        ({"stops.9.started_at": "22:00"}, "unknown-stop", 9),
        ({"stops.3.finished_at": "2024-04-17T02:21:00Z"}, "time-on-another-night", 3),
        ({"night": "2024-02-30"}, "cell-unreadable", None),
        ({"night": "2190-04-15"}, "future-night", None),
        ({"start.sky": "44"}, "cell-unreadable", None),
        ({"end.beaufort": "40000"}, "unknown-wind-force", None),
        ({"rain_48h": "1000000"}, "cell-out-of-range", None),
        ({"second_observer": "x" * 121}, "cell-too-long", None),
        ({"sightings.1.count": "3"}, "sighting-incomplete", None),
    ],
)
def test_values_that_the_database_forbids_are_refused_with_a_message(
    observer, route, species, cells, code, address_stop
):
    draft = make_draft(observer, route)
    draft = type_cells(observer, draft, cells).visit
    with pytest.raises(VisitRefused, match="must be corrected first") as caught:
        submit_visit(observer, draft.pk, revision=draft.revision)
    refusals = {(f.code, f.where.stop) for f in caught.value.findings}
    assert (code, address_stop) in refusals
    draft.refresh_from_db()
    assert draft.state == VisitState.DRAFT
    assert {address: draft.cells[address] for address in cells} == cells
    assert not Submission.objects.exists()
    assert not ListeningPeriod.objects.exists()


def carried(route) -> dict[str, int]:
    return {str(stop.number): stop.pk for stop in route.stops.all()}


def move(stop) -> Stop:
    """The stop moves on the night of the visit: another one has its number from then on."""
    Stop.objects.filter(pk=stop.pk).update(active_until=NIGHT - dt.timedelta(days=1))
    return Stop.objects.create(
        route=stop.route, number=stop.number, name="New", place=stop.place, active_from=NIGHT
    )


def changed_stops(visit) -> dict[int, str]:
    found = visit.findings.filter(code="stop-changed")
    return {finding.stop_id: finding.variant for finding in found}


def test_stops_that_changed_meanwhile_stay_where_they_were_surveyed(
    observer, coordinator, route, species
):
    """One is closed, one moved, one has another number; a phone took them along before."""
    closed, moved, renumbered = route.stops.order_by("number")
    taken = carried(route)
    Stop.objects.filter(pk=closed.pk).update(active_until=NIGHT - dt.timedelta(days=1))
    move(moved)
    Stop.objects.filter(pk=renumbered.pk).update(number=4)
    visit = make_submitted(observer, route, carried_stops=taken)
    assert set(visit.periods.values_list("stop_id", flat=True)) == set(taken.values())
    assert changed_stops(visit) == {closed.pk: "", moved.pk: "replaced"}
    # The new place of the stop that moved is no further stop of the visit.
    assert {row.stop.pk for row in visit_grid(visit).rows} == set(taken.values())
    with pytest.raises(QueriesOpen):
        accept(coordinator, visit.pk, revision=visit.revision)
    for finding in visit.findings.filter(severity="query"):
        settled = {"settlement": Settlement.COUNTS, "reason": "Surveyed at the old place."}
        visit = settle(coordinator, finding.pk, revision=visit.revision, **settled)
    accept(coordinator, visit.pk, revision=visit.revision)
    counted = ListeningPeriod.objects.filter(counts_in_trends=True)
    assert set(counted.values_list("stop_id", flat=True)) == set(taken.values())


def test_a_closed_stop_that_nobody_took_along_is_a_question(observer, route, species):
    draft = make_draft(observer, route)
    stop = route.stops.get(number=3)
    Stop.objects.filter(pk=stop.pk).update(active_until=NIGHT - dt.timedelta(days=1))
    visit = submit_visit(observer, draft.pk, revision=draft.revision)
    assert changed_stops(visit) == {stop.pk: ""}
    assert visit.periods.filter(stop=stop).exists()


def test_stops_of_another_route_are_not_taken(observer, program, route, species):
    other = make_route(program).stops.get(number=1)
    visit = make_submitted(observer, route, carried_stops={"1": other.pk, "2": 2**60})
    assert visit.carried_stops == {}
    assert not visit.periods.filter(stop=other).exists()


def test_a_cleared_stop_is_blank(observer, route, species):
    draft = make_draft(observer, route, plain_cells() | {"stops.9.started_at": "22:00"})
    with pytest.raises(VisitRefused, match="must be corrected first"):
        submit_visit(observer, draft.pk, revision=draft.revision)
    draft = clear_stop(observer, draft.pk, 9)
    visit = submit_visit(observer, draft.pk, revision=draft.revision)
    assert visit.periods.count() == 3
    with pytest.raises(WrongState):
        clear_stop(observer, visit.pk, 1)


def test_repeated_hour_must_be_resolved_first(observer, route):
    cells = {
        "night": "2023-11-04",
        "stops.1.started_at": "01:30",
        "stops.1.finished_at": "01:36",
        "stops.1.finished_at.fold": "second",
    }
    draft = make_draft(observer, route, cells)
    with pytest.raises(VisitRefused):
        submit_visit(observer, draft.pk, revision=draft.revision)
    draft = type_cells(observer, draft, {"stops.1.started_at.fold": "second"}).visit
    submit_visit(observer, draft.pk, revision=draft.revision)
    period = ListeningPeriod.objects.get()
    assert period.started_at == dt.datetime(2023, 11, 5, 7, 30, tzinfo=dt.UTC)
    assert period.finished_at - period.started_at == dt.timedelta(minutes=6)


def test_only_the_observer_submits(observer, coordinator, partner, program, route):
    draft = make_draft(observer, route)
    elsewhere = make_member(make_program(), person=observer.person)
    for member in (coordinator, make_member(program), elsewhere):
        with pytest.raises(NotYours):
            submit_visit(member, draft.pk, revision=draft.revision)
    with pytest.raises(PermissionDenied):
        submit_visit(partner, draft.pk, revision=draft.revision)


def test_a_stale_revision_submits_nothing(observer, route):
    draft = make_draft(observer, route)
    save_cells(observer, draft.pk, changes({"notes": "typed on the phone"}))
    with pytest.raises(StaleRevision, match="in the meantime") as caught:
        submit_visit(observer, draft.pk, revision=draft.revision)
    assert caught.value.visit.cells["notes"] == "typed on the phone"
    assert not Submission.objects.exists()


def test_a_submitted_visit_is_not_submitted_again(observer, route):
    visit = make_submitted(observer, route)
    with pytest.raises(WrongState, match="is marked “submitted”"):
        submit_visit(observer, visit.pk, revision=visit.revision)


# Submitting again


@pytest.fixture
def sent_back(observer, coordinator, route, species):
    """A visit with two queries, one settled, that came back."""
    peeper, toad = species
    cells = plain_cells(3, {1: {peeper: 2, toad: 1}, 2: {peeper: 1}}) | {
        "stops.2.finished_at": "21:13",
        "stops.3.finished_at": "21:23",
        "sightings.1.species": toad.code,
        "sightings.1.life_stage": "adult",
    }
    visit = make_submitted(observer, route, cells)
    finding = visit.findings.get(stop__number=2)
    visit = settle(
        coordinator,
        finding.pk,
        settlement="counts",
        reason="Long enough here.",
        revision=visit.revision,
    )
    return send_back(coordinator, visit.pk, note="Look at stop 3.", revision=visit.revision)


def test_settlement_is_kept_when_the_finding_is_unchanged(observer, sent_back):
    before = StoredFinding.objects.get(stop__number=2)
    visit = type_cells(observer, sent_back, {"stops.3.finished_at": "21:26"}).visit
    submit_visit(observer, visit.pk, revision=visit.revision)
    finding = StoredFinding.objects.get()
    assert finding == before
    assert (finding.settlement, finding.reason) == ("counts", "Long enough here.")


def test_settlement_is_dropped_when_the_finding_changes(observer, sent_back):
    visit = type_cells(observer, sent_back, {"stops.2.finished_at": "21:14"}).visit
    submit_visit(observer, visit.pk, revision=visit.revision)
    assert StoredFinding.objects.get(stop__number=2).settlement == ""


def test_resubmission_updates_the_rows(observer, sent_back, species):
    peeper, toad = species
    before = dict(sent_back.periods.values_list("stop__number", "pk"))
    cells = {
        f"stops.1.calls.{peeper.code}": "3",
        f"stops.1.calls.{toad.code}": "",
        "sightings.1.species": "",
        "sightings.1.life_stage": "",
        **{f"stops.3.{name}": "" for name in ("arrived_at", "started_at", "finished_at")},
        "stops.3.air_temperature": "",
    }
    visit = type_cells(observer, sent_back, cells).visit
    submit_visit(observer, visit.pk, revision=visit.revision)
    after = dict(visit.periods.values_list("stop__number", "pk"))
    assert after == {1: before[1], 2: before[2]}
    assert set(CallIndex.objects.values_list("period", "species", "index")) == {
        (before[1], peeper.pk, 3),
        (before[2], peeper.pk, 1),
    }
    assert not Sighting.objects.exists()
    assert Submission.objects.count() == 2


def test_history_has_a_row_for_what_changed_and_none_for_what_did_not(observer, sent_back):
    visit = type_cells(observer, sent_back, {"stops.3.finished_at": "21:26"}).visit
    submit_visit(observer, visit.pk, revision=visit.revision)
    events = ListeningPeriod.pgh_event_model.objects.order_by("pgh_id")
    labels = [(event.pgh_label, event.stop.number) for event in events.select_related("stop")]
    assert labels == [("insert", 1), ("insert", 2), ("insert", 3), ("update", 3)]
    states = Visit.pgh_event_model.objects.order_by("pgh_id").values_list("state", flat=True)
    assert list(dict.fromkeys(states)) == ["draft", "submitted", "sent_back"]
    assert states.last() == "submitted"


def test_photo_belongs_to_its_row(observer, route, species):
    _, toad = species
    cells = plain_cells() | {"sightings.1.species": toad.code, "sightings.1.life_stage": "adult"}
    draft = make_draft(observer, route, cells)
    photo = Photo.objects.create(
        visit=draft, row=1, image="photos/a.jpg", sha256="0" * 64, uploaded_by=observer.person
    )
    submit_visit(observer, draft.pk, revision=draft.revision)
    assert Sighting.objects.get().photo == photo


def test_submitting_ten_stops_takes_as_many_queries_as_three(
    observer, program, species, django_assert_max_num_queries
):
    for stops in (3, 10):
        route = make_route(program, stops=stops)
        heard = {n: dict.fromkeys(species, 2) for n in range(1, stops + 1)}
        draft = make_draft(observer, route, plain_cells(stops, heard))
        with django_assert_max_num_queries(24):
            submit_visit(observer, draft.pk, revision=draft.revision)
