"""What people heard in recordings of an observer without the sheet, and at the same stops."""

import datetime as dt

import pytest

from accounts.models import Role
from surveys.models import CallIndex, Species
from surveys.seasons.second_observers import heard_by_second_observers
from surveys.sound.hearing_errors import Written
from surveys.visits import verbs
from surveys.visits.blind.answering import answer_blindly
from surveys.visits.blind.checked_calls import checked_calls
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_joint_entry,
    make_member,
    make_program,
    make_route,
)
from tests.support.sounds import drawn, keep, sound

pytestmark = pytest.mark.django_db
PEEPER, TOAD, BULLFROG = "pseudacris-crucifer", "anaxyrus-americanus", "lithobates-catesbeianus"
NIGHT = dt.date(2024, 4, 15)


@pytest.fixture
def species(program):
    return make_checklist(
        program, "Pseudacris crucifer", "Anaxyrus americanus", "Lithobates catesbeianus"
    )


@pytest.fixture
def visit(program, observer, species):
    peeper, _, bullfrog = species
    return make_accepted_visit(
        make_route(program), observer.person, night=NIGHT, heard={1: {peeper: 2, bullfrog: 1}}
    )


@pytest.fixture
def listeners(program):
    return [make_member(program, Role.COORDINATOR) for _ in range(3)]


@pytest.fixture
def listened(observer, visit, listeners):
    """Listeners answer one after another; a recording of stop 1."""

    def listen(*answers, sampled=True, usable=True):
        recording = keep(observer, visit, sound(), stop=1, species=PEEPER, id=drawn(sampled))
        for listener, heard in zip(listeners, answers, strict=False):
            answer_blindly(listener, recording.pk, heard=heard, usable=usable)
        return recording

    return listen


def of(observer, **options):
    return {
        call.species: call
        for call in checked_calls(observer.program, observer.person_id, **options)
    }


def test_what_two_heard_stands_beside_the_sheet(observer, listened):
    listened({PEEPER: 3, TOAD: 1}, {PEEPER: 3, TOAD: 1})
    assert of(observer) == {
        PEEPER: Written(species=PEEPER, there=True, heard_index=3, index=2),
        TOAD: Written(species=TOAD, there=True, heard_index=1, index=None),
        BULLFROG: Written(species=BULLFROG, there=False, heard_index=None, index=1),
    }
    assert of(observer, season_year=2024) == of(observer)
    assert of(observer, season_year=2023) == {}


def test_one_listener_says_nothing_yet(observer, listened):
    listened({PEEPER: 2})
    assert of(observer) == {}


def test_only_the_random_share_counts(observer, listened):
    listened({PEEPER: 2}, {PEEPER: 2}, sampled=False)
    assert of(observer) == {}


def test_a_recording_without_a_sound_says_nothing(observer, listened):
    listened({}, {}, usable=False)
    assert of(observer) == {}


def test_what_one_of_three_heard_says_nothing_of_that_species(observer, listened):
    listened({PEEPER: 2}, {PEEPER: 2, BULLFROG: 1}, {PEEPER: 2})
    assert of(observer).keys() == {PEEPER}


def test_what_the_observer_was_not_sure_of_is_no_error(observer, visit, listened):
    CallIndex.objects.filter(species__code=BULLFROG).update(
        index=None, not_sure=True, counts_in_trends=False
    )
    listened({PEEPER: 2}, {PEEPER: 2})
    assert of(observer).keys() == {PEEPER}


@pytest.mark.parametrize("verb", [verbs.set_aside, verbs.send_back])
def test_a_visit_that_is_not_handed_in_does_not_count(observer, visit, listeners, listened, verb):
    listened({PEEPER: 2}, {PEEPER: 2})
    visit.refresh_from_db()
    visit = verbs.reopen(listeners[0], visit.pk, note="Look again.", revision=visit.revision)
    assert of(observer)
    verb(listeners[0], visit.pk, note="Which route?", revision=visit.revision)
    assert of(observer) == {}


def test_other_people_and_programs_stay_out(observer, listened):
    listened({PEEPER: 2}, {PEEPER: 2})
    assert checked_calls(observer.program, make_member(observer.program).person_id) == []
    assert checked_calls(make_program(), observer.person_id) == []


def test_a_species_and_its_joint_entry_are_not_held_against_each_other(
    program, observer, visit, listened
):
    joint = make_joint_entry("peeper or toad", *Species.objects.filter(code__in=[PEEPER, TOAD]))
    listened({PEEPER: 2}, {PEEPER: 2})
    assert of(observer).keys() == {PEEPER, BULLFROG}
    CallIndex.objects.filter(species__code=PEEPER).update(species=joint)
    assert of(observer)[joint.code].there
    assert of(observer).keys() == {joint.code, BULLFROG}


def test_what_only_the_second_observer_wrote_down_is_missed(program, observer, visit, species):
    peeper, toad, _ = species
    second = make_member(program)
    make_accepted_visit(
        visit.route, second.person, night=NIGHT, heard={1: {peeper: 3}, 2: {toad: 1}}
    )
    mine = heard_by_second_observers(program, observer.person_id)
    assert sorted(mine, key=lambda call: call.species) == [
        Written(species=TOAD, there=True, heard_index=1, index=None),
        Written(species=BULLFROG, there=None, heard_index=None, index=1),
        Written(species=PEEPER, there=True, heard_index=3, index=2),
    ]
    other = heard_by_second_observers(program, second.person_id)
    assert {call.species: call.there for call in other} == {
        TOAD: None,
        BULLFROG: True,
        PEEPER: True,
    }
    assert heard_by_second_observers(program, observer.person_id, 2023) == []
