"""Recordings heard without the sheet: who hears which, and what two who agree change."""

import datetime as dt
import random
import uuid

import pytest
from django.core.exceptions import PermissionDenied

from accounts.models import Role
from surveys.fitting.histories import load_periods
from surveys.models import (
    BlindAnswer,
    CallIndex,
    Confirmation,
    Recording,
    RecordingKind,
    Species,
    Step,
    VisitState,
)
from surveys.seasons.year_counts import count_again
from surveys.trends.histories import build_histories
from surveys.trends.periods import calling_season, species_periods
from surveys.visits import verbs
from surveys.visits.blind import waiting
from surveys.visits.blind.answering import (
    answer_blindly,
    find_waiting,
    let_tested_observers_listen,
)
from surveys.visits.blind.waiting import (
    SAMPLE_SHARE,
    in_sample,
    next_recording,
    waiting_recordings,
)
from surveys.visits.exceptions import NotYours
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_joint_entry,
    make_member,
    make_program,
    make_route,
)
from tests.support.sounds import keep, sound

pytestmark = pytest.mark.django_db
PEEPER, TOAD = "pseudacris-crucifer", "anaxyrus-americanus"


@pytest.fixture
def species(program):
    return make_checklist(program, "Pseudacris crucifer", "Anaxyrus americanus")


@pytest.fixture
def visit(program, observer, species):
    peeper, _ = species
    return make_accepted_visit(make_route(program), observer.person, heard={1: {peeper: 2}})


@pytest.fixture
def recording(observer, visit):
    return keep(observer, visit, sound(), stop=1, species=PEEPER)


@pytest.fixture
def listeners(program):
    return [make_member(program, Role.COORDINATOR) for _ in range(3)]


def certain_of(program):
    periods = load_periods(program)
    of_species = species_periods(periods, min(periods.heard, default=next(iter(periods.listed))))
    certain = build_histories(calling_season(of_species)).certain
    return 0 if certain is None else int(certain.sum())


def test_two_who_agree_make_the_call_of_the_sheet_certain(program, visit, recording, listeners):
    first, second, third = listeners
    before = CallIndex.objects.values().get()
    revision = visit.revision
    listening = answer_blindly(first, recording.pk, heard={PEEPER: 1})
    assert not Confirmation.objects.exists()
    assert certain_of(program) == 0
    assert listening.finished_at is None
    listening = answer_blindly(second, recording.pk, heard={PEEPER: 2})
    assert listening.finished_at is not None
    confirmation = Confirmation.objects.get()
    assert (confirmation.by, confirmation.without_sheet) == (second.person, True)
    assert certain_of(program) == 1
    visit.refresh_from_db()
    assert visit.revision == revision
    assert CallIndex.objects.values().get() == before
    assert visit.steps.get(step=Step.CONFIRMED).note.startswith(
        "Pseudacris crucifer at stop 1, by two"
    )
    with pytest.raises(NotYours):
        answer_blindly(third, recording.pk, heard={PEEPER: 2})


def checked_of(program):
    """By species, at how many periods a call is checked in the data of the fits."""
    heard = load_periods(program).heard
    codes = dict(Species.objects.filter(pk__in=heard).values_list("pk", "code"))
    return {codes[pk]: int(calls.checked.sum()) for pk, calls in heard.items()}


def test_what_two_did_not_name_is_checked_and_not_certain(program, visit, recording, listeners):
    assert checked_of(program) == {PEEPER: 0}
    answer_blindly(listeners[0], recording.pk, heard={TOAD: 1})
    assert checked_of(program) == {PEEPER: 0}
    program.runs.all().delete()
    answer_blindly(listeners[1], recording.pk, heard={TOAD: 1})
    assert checked_of(program) == {PEEPER: 1}
    assert certain_of(program) == 0
    assert program.runs.exists()


def test_a_recording_in_which_nobody_could_hear_anything_checks_nothing(
    program, visit, recording, listeners
):
    for listener in listeners[:2]:
        answer_blindly(listener, recording.pk, heard={}, usable=False)
    assert BlindAnswer.objects.count() == 2
    assert checked_of(program) == {PEEPER: 0}


def test_what_nobody_named_yet_waits_for_the_third(program, visit, recording, listeners):
    for listener, heard in zip(listeners, [{TOAD: 1}, {}, {}], strict=True):
        assert checked_of(program) == {PEEPER: 0}
        answer_blindly(listener, recording.pk, heard=heard)
    assert checked_of(program) == {PEEPER: 1}


def test_what_two_named_is_checked_while_a_third_is_awaited(program, visit, recording, listeners):
    answer_blindly(listeners[0], recording.pk, heard={PEEPER: 1})
    answer_blindly(listeners[1], recording.pk, heard={PEEPER: 1, TOAD: 1})
    assert (checked_of(program), certain_of(program)) == ({PEEPER: 1}, 1)


def test_a_member_that_was_written_down_does_not_check_its_joint_entry(
    program, visit, recording, listeners
):
    joint = make_joint_entry("peeper or toad", *Species.objects.filter(code__in=[PEEPER, TOAD]))
    for listener in listeners[:2]:
        answer_blindly(listener, recording.pk, heard={PEEPER: 1})
    assert checked_of(program) == {PEEPER: 1, joint.code: 0}


def test_a_change_of_what_is_certain_asks_for_new_fits(program, recording, listeners):
    program.runs.all().delete()
    answer_blindly(listeners[0], recording.pk, heard={PEEPER: 1})
    assert not program.runs.exists()
    answer_blindly(listeners[1], recording.pk, heard={PEEPER: 1})
    assert program.runs.exists()


def test_disagreement_goes_to_a_third_and_then_ends(recording, listeners):
    answers = ({PEEPER: 2}, {TOAD: 1}, {TOAD: 1})
    for listener, heard in zip(listeners, answers, strict=True):
        listening = answer_blindly(listener, recording.pk, heard=heard)
    assert (listening.agreed, listening.disputed) == ({TOAD: 1}, [PEEPER])
    assert listening.finished_at is not None
    # The sheet does not have the toad, and stays as it is.
    assert not Confirmation.objects.exists()
    assert CallIndex.objects.count() == 1


def test_not_sure_names_nothing(recording, listeners):
    for listener in listeners[:2]:
        listening = answer_blindly(listener, recording.pk, heard={PEEPER: None})
    assert listening.agreed == {}
    assert not Confirmation.objects.exists()


def test_an_answer_that_nothing_can_be_heard_names_nothing(recording, listeners):
    for listener in listeners[:2]:
        listening = answer_blindly(listener, recording.pk, heard={PEEPER: 2}, usable=False)
    assert listening.finished_at is not None
    assert (listening.agreed, listening.disputed) == ({}, [])


def test_a_spoken_note_is_nobody_elses_to_hear(visit, observer, coordinator):
    keep(observer, visit, sound(), stop=1, kind=RecordingKind.NOTE)
    assert not waiting_recordings(coordinator).exists()


def test_a_withdrawn_confirmation_is_not_made_again(visit, recording, listeners):
    first, second, third = listeners
    answer_blindly(first, recording.pk, heard={PEEPER: 2})
    answer_blindly(second, recording.pk, heard={PEEPER: 2, TOAD: 1})
    visit.refresh_from_db()
    verbs.take_back_confirmation(
        first, visit.pk, Confirmation.objects.get().pk, revision=visit.revision
    )
    answer_blindly(third, recording.pk, heard={PEEPER: 2})
    assert not Confirmation.objects.exists()


class TestWhoListens:
    @pytest.fixture
    def tested(self, program):
        member = make_member(program, Role.OBSERVER)
        member.trained_on = dt.date(2020, 1, 1)
        member.save()
        return member

    def test_observers_only_with_a_valid_test_and_where_the_program_says_so(
        self, program, observer, coordinator, tested, recording
    ):
        other = make_member(program, Role.OBSERVER)
        for member in (tested, other):
            with pytest.raises(PermissionDenied, match="only coordinators"):
                find_waiting(member, recording.pk)
        with pytest.raises(PermissionDenied):
            let_tested_observers_listen(tested, True)
        let_tested_observers_listen(coordinator, True)
        for member in (tested, other):
            member.program.refresh_from_db()
        assert find_waiting(tested, recording.pk) == recording
        with pytest.raises(PermissionDenied, match="valid call-identification test"):
            find_waiting(other, recording.pk)
        tested.trained_until = dt.date(2021, 1, 1)
        with pytest.raises(PermissionDenied):
            find_waiting(tested, recording.pk)

    def test_nobody_hears_what_they_made_or_were_there_for(
        self, program, visit, recording, coordinator
    ):
        assert recording in waiting_recordings(coordinator)
        for field in ("observer", "second_member"):
            before = getattr(visit, field)
            setattr(visit, field, coordinator.person)
            visit.save()
            assert recording not in waiting_recordings(coordinator)
            setattr(visit, field, before)
            visit.save()
        Recording.objects.update(uploaded_by=coordinator.person)
        assert recording not in waiting_recordings(coordinator)

    def test_neither_partners_nor_other_programs(self, program, recording):
        for member in (
            make_member(program, Role.PARTNER),
            make_member(make_program(), Role.COORDINATOR),
        ):
            with pytest.raises((PermissionDenied, NotYours)):
                answer_blindly(member, recording.pk, heard={PEEPER: 1})
        assert not BlindAnswer.objects.exists()

    def test_once_each(self, recording, coordinator):
        answer_blindly(coordinator, recording.pk, heard={}, usable=False)
        with pytest.raises(NotYours):
            answer_blindly(coordinator, recording.pk, heard={PEEPER: 1})

    @pytest.mark.parametrize("state", [VisitState.SENT_BACK, VisitState.SET_ASIDE])
    def test_only_visits_that_are_handed_in(self, program, species, observer, coordinator, state):
        visit = make_accepted_visit(
            make_route(program),
            observer.person,
            heard={1: {species[0]: 2}},
            state=state,
            counts_in_trends=False,
        )
        keep(observer, visit, sound(), stop=1, species=PEEPER)
        assert not waiting_recordings(coordinator).exists()


class TestOrder:
    @pytest.fixture
    def recordings(self, program, observer, species):
        """Twelve of as many nights, the peeper on both routes and the toad on one."""
        peeper, toad = species
        routes = [make_route(program), make_route(program)]
        made = []
        for number in range(12):
            visit = make_accepted_visit(
                routes[number % 2],
                observer.person,
                night=dt.date(2024, 4, 1) + dt.timedelta(days=number),
                heard={1: {toad if number == 7 else peeper: 2}},
            )
            made.append(keep(observer, visit, sound(seed=number), stop=1, species=PEEPER))
        return made

    def test_begun_then_the_random_share_then_what_is_rare(
        self, monkeypatch, recordings, coordinator, listeners
    ):
        count_again(coordinator.program_id)
        monkeypatch.setattr(waiting, "SAMPLE_DIGITS", ())
        assert next_recording(coordinator) == recordings[7]
        monkeypatch.setattr(waiting, "SAMPLE_DIGITS", tuple("0123456789abcdef"))
        assert next_recording(coordinator) == recordings[0]
        answer_blindly(listeners[0], recordings[5].pk, heard={PEEPER: 2})
        assert next_recording(coordinator) == recordings[5]

    def test_the_random_share_follows_from_random_identifiers(self, visit, observer):
        draw = random.Random(7)
        Recording.objects.bulk_create(
            Recording(
                id=uuid.UUID(int=draw.getrandbits(128), version=4),
                visit=visit,
                kind=RecordingKind.VOUCHER,
                media_type="audio/webm",
                seconds=1,
                bytes=1,
                sha256="0" * 64,
                upload_metadata="",
                uploaded_by=observer.person,
            )
            for _ in range(400)
        )
        expected, spread = 400 * SAMPLE_SHARE, (400 * SAMPLE_SHARE * (1 - SAMPLE_SHARE)) ** 0.5
        assert abs(in_sample(Recording.objects.all()).count() - expected) < 3 * spread
