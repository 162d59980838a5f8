"""Calls confirmed by ear from a recording: by whom, from what, and what becomes of it."""

import datetime as dt
import uuid

import pytest
from django.core.exceptions import PermissionDenied

from accounts.models import Role
from surveys.fitting.histories import load_periods
from surveys.models import CallIndex, Confirmation, RecordingKind, Step, VisitState
from surveys.trends.histories import build_histories
from surveys.trends.periods import calling_season, species_periods
from surveys.visits import verbs
from surveys.visits.exceptions import NotConfirmable, NotYours, StaleRevision, WrongState
from surveys.visits.media.recordings import remove_recording
from tests.support.builders import make_checklist, make_member, make_program, make_route
from tests.support.sheets import changes, make_submitted, plain_cells
from tests.support.sounds import keep, sound

pytestmark = pytest.mark.django_db
PEEPER = "pseudacris-crucifer"
HEARD = {f"stops.1.calls.{PEEPER}": "2", f"stops.2.calls.{PEEPER}": "1"}


@pytest.fixture
def visit(program, observer):
    make_checklist(program, "Pseudacris crucifer", "Anaxyrus americanus")
    cells = plain_cells() | HEARD | {"stops.3.calls.anaxyrus-americanus": "?"}
    return make_submitted(observer, make_route(program), cells)


@pytest.fixture
def recording(observer, visit):
    return keep(observer, visit, sound(), stop=1, species=PEEPER)


def confirm(member, visit, recording, species=PEEPER, *, revision=None):
    visit.refresh_from_db()
    return verbs.confirm_by_ear(
        member,
        visit.pk,
        recording_id=recording.pk,
        species=species,
        revision=visit.revision if revision is None else revision,
    )


def certain_of(program):
    """Stops and visits of the histories of the first species that hold a certain detection."""
    periods = load_periods(program)
    of_species = species_periods(periods, min(periods.heard, default=next(iter(periods.listed))))
    certain = build_histories(calling_season(of_species)).certain
    return 0 if certain is None else int(certain.sum())


def test_it_says_who_when_and_from_what(coordinator, visit, recording):
    changed = confirm(coordinator, visit, recording)
    (confirmation,) = Confirmation.objects.all()
    assert confirmation.by == coordinator.person
    assert confirmation.recording == recording
    assert confirmation.call.period.stop.number == 1
    step = changed.steps.latest("pk")
    assert (step.step, step.by, step.at) == (Step.CONFIRMED, coordinator.person, confirmation.at)
    assert step.note.endswith("at stop 1")


def test_a_confirmed_call_is_certain_in_the_data_of_the_fits(coordinator, visit, recording):
    confirm(coordinator, visit, recording)
    visit.refresh_from_db()
    verbs.accept(coordinator, visit.pk, revision=visit.revision)
    assert certain_of(coordinator.program) == 1


def test_confirming_an_accepted_visit_asks_for_new_fits(coordinator, visit, recording):
    verbs.accept(coordinator, visit.pk, revision=visit.revision)
    assert certain_of(coordinator.program) == 0
    coordinator.program.runs.all().delete()
    confirm(coordinator, visit, recording)
    assert certain_of(coordinator.program) == 1
    assert coordinator.program.runs.count() == 1


def test_taking_back_leaves_a_trace(coordinator, visit, recording):
    changed = confirm(coordinator, visit, recording)
    confirmation = Confirmation.objects.get()
    changed = verbs.take_back_confirmation(
        coordinator, visit.pk, confirmation.pk, revision=changed.revision
    )
    assert not Confirmation.objects.exists()
    assert changed.steps.latest("pk").step == Step.TAKEN_BACK
    events = Confirmation.events.rel.related_model.objects.order_by("pgh_id")
    assert [event.pgh_label for event in events] == ["insert", "delete"]
    with pytest.raises(NotYours, match="already be withdrawn"):
        verbs.take_back_confirmation(
            coordinator, visit.pk, confirmation.pk, revision=changed.revision
        )


def test_the_observer_cannot_confirm_what_they_heard_themselves(program, observer):
    make_checklist(program, "Pseudacris crucifer")
    person = make_member(program, Role.COORDINATOR)
    own = make_submitted(person, make_route(program), plain_cells() | HEARD)
    recording = keep(person, own, sound(), stop=1, species=PEEPER)
    with pytest.raises(NotConfirmable, match="your own"):
        confirm(person, own, recording)
    assert not Confirmation.objects.exists()


@pytest.mark.parametrize("role", [Role.OBSERVER, Role.PARTNER])
def test_only_coordinators_confirm(program, visit, recording, role):
    with pytest.raises(PermissionDenied):
        confirm(make_member(program, role), visit, recording)


def test_nobody_of_another_program(visit, recording):
    stranger = make_member(make_program("Elsewhere"), Role.COORDINATOR)
    with pytest.raises(NotYours):
        confirm(stranger, visit, recording)


def test_only_from_a_voucher_of_the_stop_where_it_was_heard(
    coordinator, observer, visit, recording
):
    other_stop = keep(observer, visit, sound(seed=2), stop=3, species="anaxyrus-americanus")
    with pytest.raises(NotConfirmable, match="no call index of that species at stop 3"):
        confirm(coordinator, visit, other_stop)
    with pytest.raises(NotConfirmable, match="no call index"):
        confirm(coordinator, visit, other_stop, "anaxyrus-americanus")
    note = keep(observer, visit, sound(seed=3), stop=1, kind=RecordingKind.NOTE, species=None)
    for not_a_voucher in (note, type(note)(pk=uuid.uuid4())):
        with pytest.raises(NotConfirmable, match="complete voucher recording"):
            confirm(coordinator, visit, not_a_voucher)


def test_only_what_was_heard_and_recorded_on_that_visit(coordinator, observer, visit, recording):
    night = visit.night + dt.timedelta(days=1)
    later = make_submitted(observer, visit.route, plain_cells() | HEARD, night=night)
    with pytest.raises(NotConfirmable, match="complete voucher recording"):
        confirm(coordinator, later, recording)
    confirm(coordinator, later, keep(observer, later, sound(seed=2), stop=1, species=PEEPER))
    assert Confirmation.objects.get().call.period.visit == later


def test_once(coordinator, visit, recording):
    confirm(coordinator, visit, recording)
    with pytest.raises(NotConfirmable, match="confirmed already"):
        confirm(coordinator, visit, recording)


def test_not_on_what_somebody_changed_meanwhile(coordinator, visit, recording):
    with pytest.raises(StaleRevision):
        confirm(coordinator, visit, recording, revision=visit.revision - 1)


def test_not_while_the_sheet_is_with_its_observer(coordinator, visit, recording):
    verbs.send_back(coordinator, visit.pk, note="Look again.", revision=visit.revision)
    visit.refresh_from_db()
    assert visit.state == VisitState.SENT_BACK
    with pytest.raises(WrongState):
        confirm(coordinator, visit, recording)


def test_a_correction_keeps_it_while_the_species_stays(coordinator, visit, recording):
    confirm(coordinator, visit, recording)
    visit.refresh_from_db()
    address = f"stops.1.calls.{PEEPER}"
    visit = verbs.correct_cells(
        coordinator, visit.pk, changes({address: "3"}), reason="Chorus.", revision=visit.revision
    )
    assert Confirmation.objects.get().call.index == 3
    verbs.correct_cells(
        coordinator, visit.pk, changes({address: "0"}), reason="None.", revision=visit.revision
    )
    assert not Confirmation.objects.exists()


def test_a_call_made_unsure_is_certain_no_longer(coordinator, visit, recording):
    confirm(coordinator, visit, recording)
    visit.refresh_from_db()
    visit = verbs.correct_cells(
        coordinator,
        visit.pk,
        changes({f"stops.1.calls.{PEEPER}": "?"}),
        reason="Hard to tell.",
        revision=visit.revision,
    )
    verbs.accept(coordinator, visit.pk, revision=visit.revision)
    assert CallIndex.objects.get(period__visit=visit, period__stop__number=1).not_sure
    assert certain_of(coordinator.program) == 0


def test_it_goes_with_its_recording(coordinator, observer, visit, recording):
    confirm(coordinator, visit, recording)
    visit.refresh_from_db()
    verbs.send_back(coordinator, visit.pk, note="Look again.", revision=visit.revision)
    remove_recording(observer, recording.pk)
    assert not Confirmation.objects.exists()
