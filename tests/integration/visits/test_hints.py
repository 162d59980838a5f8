"""What the hint on a recording says, how often it was right, and who is asked to listen first."""

import datetime as dt

import pytest
from scipy.stats import beta

from accounts.models import Role
from surveys.models import CallingRegion, Confirmation, SeasonMark, Species
from surveys.publishing.hints import hint_cells
from surveys.publishing.listening_tables import HINT_ERRORS
from surveys.sound.hearing_errors import Share
from surveys.visits import verbs
from surveys.visits.blind.answering import answer_blindly
from surveys.visits.blind.hint_errors import hint_errors
from surveys.visits.blind.waiting import next_recording
from surveys.visits.media.references import kept_references
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_joint_entry,
    make_member,
    make_program,
    make_route,
    make_species,
)
from tests.support.sounds import (
    drawn,
    keep,
    make_stored_picture,
    make_stored_reference,
    sound,
    stored_band,
)

pytestmark = pytest.mark.django_db
PEEPER, TOAD = "pseudacris-crucifer", "anaxyrus-americanus"
NIGHT = dt.date(2024, 4, 15)


@pytest.fixture
def species(program):
    found = make_checklist(program, "Pseudacris crucifer", "Anaxyrus americanus")
    for species, name in zip(found, ("Spring peeper", "American toad"), strict=True):
        species.common_name = name
        species.save()
    Species.objects.filter(code=PEEPER).update(peak_hz="2500-3100")
    return found


@pytest.fixture
def visit(program, observer, species):
    peeper, _ = species
    return make_accepted_visit(
        make_route(program), observer.person, night=NIGHT, heard={1: {peeper: 2}, 2: {peeper: 1}}
    )


@pytest.fixture
def record(observer, visit):
    """A recording of a stop with a whistle that was measured, outside of the random share."""

    def make(*bands, stop=1, sampled=False):
        recording = keep(observer, visit, sound(), stop=stop, species=PEEPER, id=drawn(sampled))
        measures = {"begin_s": 0, "end_s": 20, "bands": list(bands) or [stored_band()]}
        make_stored_picture(recording, measures=measures)
        return recording

    return make


@pytest.fixture
def refer(coordinator, species):
    """Reference calls of the peeper, or of a species, that sound like the recording."""

    def make(number=3, of=None, recording=None, **band):
        measures = {"begin_s": 0, "end_s": 5, "bands": [stored_band(**band)]}
        return [
            make_stored_reference(
                recording,
                of or species[0],
                coordinator,
                measures=measures,
                air_celsius=12,
                credit="" if recording else "R. Marsh",
            )
            for _ in range(number)
        ]

    return make


@pytest.fixture
def shown(client_for, coordinator):
    def get(recording, member=coordinator):
        address = f"/{coordinator.program.slug}/recordings/{recording.pk}/listen"
        return " ".join(client_for(member).get(address).content.decode().split())

    return get


def test_three_reference_calls_name_their_species(record, refer, shown, observer):
    recording = record()
    refer(2)
    assert (
        "No hint: Spring peeper may sound like this too, with fewer than 3 reference calls."
        in shown(recording)
    )
    refer(1)
    page = shown(recording)
    assert "<strong>May be Spring peeper.</strong>" in page
    assert "Expected of Spring peeper: 2,720 to 3,190 Hz, whole notes (3 reference calls)" in page
    assert "Too few reference calls for a hint: American toad." in page
    assert "<strong>May be Spring peeper.</strong>" in shown(recording, observer)


def test_pulses_are_compared_at_the_temperature_of_the_stop(record, refer, shown, visit, species):
    pulses = {"pitch_hz": 1600.0, "pulse_rate": 24.0}
    recording = record(stored_band(**pulses), stop=2)
    refer(3, of=species[1], **pulses)
    visit.periods.update(air_temperature_c=24)
    visit.periods.filter(stop=recording.stop).update(air_temperature_c=12)
    assert "<strong>May be American toad.</strong>" in shown(recording)
    visit.periods.update(air_temperature_c=24)
    assert "No hint: no species fits." in shown(recording)
    visit.periods.update(air_temperature_c=None)
    type(visit).objects.update(start_air_temperature_c=None)
    assert "No hint: pulses depend on the temperature" in shown(recording)


def test_a_species_of_the_region_that_is_not_listed_keeps_it_silent(record, refer, shown, program):
    refer()
    recording = record()
    ornate = make_species("Pseudacris ornata", "Ornate chorus frog")
    Species.objects.filter(pk=ornate.pk).update(peak_hz="2600-3000")
    assert "not on your checklist, Ornate chorus frog may sound like this" in shown(recording)
    program.calling_region = CallingRegion.objects.create(code="north", name="North")
    program.save()
    assert "May be Spring peeper." in shown(recording)
    program.calling_region.species.create(species=ornate, mark=SeasonMark.SURE)
    assert "not on your checklist, Ornate chorus frog" in shown(recording)


def test_a_joint_entry_stands_for_its_species(record, refer, shown, program, species):
    refer()
    recording = record()
    joint = make_joint_entry("peeper or toad", *species)
    program.checklist.all().delete()
    program.checklist.create(species=joint)
    assert "May be Spring peeper." in shown(recording)


def test_a_silent_species_and_a_joint_entry_without_members_have_no_hint(
    record, refer, shown, program
):
    refer()
    silent = make_species("Ascaphus truei", "Coastal tailed frog")
    Species.objects.filter(pk=silent.pk).update(is_silent=True, peak_hz="2500-3100")
    alone = make_joint_entry("some frog")
    for species in (silent, alone):
        program.checklist.create(species=species)
    page = shown(record())
    assert "May be Spring peeper." in page
    assert "Too few reference calls for a hint: American toad." in page


def test_only_reference_calls_of_the_program_that_are_confirmed_count(
    record, refer, shown, coordinator, visit, species
):
    recording, other = record(), record(stop=2)
    refer(2)
    (unconfirmed,) = refer(1, recording=other)
    other_program = make_program()
    make_stored_reference(
        None,
        species[0],
        make_member(other_program, Role.COORDINATOR),
        measures=unconfirmed.measures,
        credit="R. Marsh",
    )
    assert "No hint: Spring peeper" in shown(recording)
    confirm(other, visit, species[0], coordinator)
    assert kept_references(coordinator.program).filter(is_confirmed=True).count() == 3
    assert "May be Spring peeper." in shown(recording)
    # Of itself, a recording says nothing.
    assert "No hint: Spring peeper" in shown(other)


def confirm(recording, visit, species, coordinator):
    call = visit.periods.get(stop=recording.stop).calls.get(species=species)
    Confirmation.objects.create(call=call, recording=recording, by=coordinator.person, at=NOW)


NOW = dt.datetime(2024, 5, 1, tzinfo=dt.UTC)


@pytest.fixture
def heard(program):
    """Two people answer alike, or each his own."""
    listeners = [make_member(program, Role.COORDINATOR) for _ in range(3)]

    def answer(recording, *answers, usable=True):
        for listener, calls in zip(listeners, answers, strict=False):
            answer_blindly(listener, recording.pk, heard=calls, usable=usable)

    return answer


def test_hints_are_counted_beside_what_two_people_heard(program, record, refer, heard, visit):
    refer()
    assert hint_errors(program) == []
    heard(record(), {PEEPER: 2}, {PEEPER: 1})
    heard(record(), {TOAD: 1}, {TOAD: 1})
    heard(record(stored_band(pitch_hz=1000.0)), {}, {})  # No hint.
    (year,) = hint_errors(program)
    assert (year.season_year, year.named, year.wrong) == (
        2024,
        Share(part=2, whole=3),
        Share(part=1, whole=2),
    )
    assert hint_errors(make_program()) == []
    coordinator = make_member(program, Role.COORDINATOR)
    visit.refresh_from_db()
    opened = verbs.reopen(coordinator, visit.pk, note="Look again.", revision=visit.revision)
    verbs.set_aside(coordinator, opened.pk, note="Which route?", revision=opened.revision)
    assert hint_errors(program) == []


def test_what_is_not_certain_is_not_held_against_the_hint(program, record, refer, heard):
    refer()
    heard(record(), {PEEPER: 2})  # One listener alone.
    heard(record(), {}, {}, usable=False)
    assert hint_errors(program) == []
    heard(record(), {TOAD: 1}, {TOAD: 1, PEEPER: 1}, {TOAD: 1})
    (year,) = hint_errors(program)
    assert (year.named, year.wrong) == (Share(part=0, whole=1), Share(part=0, whole=0))


def test_a_recording_is_not_compared_with_its_own_reference_calls(
    program, record, refer, heard, visit, species, coordinator
):
    recording = record()
    confirm(recording, visit, species[0], coordinator)
    refer(3, recording=recording)
    heard(recording, {PEEPER: 2}, {PEEPER: 2})
    heard(record(), {PEEPER: 2}, {PEEPER: 2})
    (year,) = hint_errors(program)
    assert year.named == Share(part=1, whole=2)


def test_who_heard_the_joint_entry_heard_its_species(program, record, refer, heard, species):
    refer()
    joint = make_joint_entry("peeper or toad", *species)
    program.checklist.create(species=joint)
    heard(record(), {joint.code: 2}, {joint.code: 2})
    (year,) = hint_errors(program)
    assert year.wrong == Share(part=0, whole=1)


def test_what_is_unlike_the_hint_is_heard_first(coordinator, record, refer, visit, species):
    refer()
    older = record()
    toad_only = record(stop=3)
    assert next_recording(coordinator) == toad_only
    # Until the sheet has it, or its joint entry, too.
    oldest = min(older, toad_only, key=lambda one: one.pk)
    period = visit.periods.get(stop=toad_only.stop)
    for on_sheet in (make_joint_entry("peeper or toad", *species), species[0]):
        call = period.calls.create(species=on_sheet, index=1, counts_in_trends=True)
        assert next_recording(coordinator) == oldest
        call.delete()


def test_a_publication_tells_how_often_hints_were_right(program, record, refer, heard):
    assert list(hint_cells(program, 2024)) == []
    refer()
    heard(record(), {PEEPER: 2}, {PEEPER: 1})
    heard(record(), {TOAD: 1}, {TOAD: 1})
    (cells,) = hint_cells(program, 2024)
    told = dict(zip(HINT_ERRORS.header, cells, strict=True))
    low, high = told.pop("wrong_low"), told.pop("wrong_high")
    assert told == {"season_year": 2024, "recordings": 2, "hinted": 2, "wrong": 1}
    # One of two by the prior of Jeffreys: quantiles of the beta distribution of 1.5 and 1.5.
    assert (low, high) == pytest.approx(beta.interval(0.95, 1.5, 1.5), rel=1e-9)
    assert list(hint_cells(program, 2023)) == []


def test_members_see_how_often_hints_were_right(client_for, observer, record, refer, heard):
    page = client_for(observer)
    address = f"/{observer.program.slug}/hints/"
    assert "Nothing to compare yet." in page.get(address).content.decode()
    refer()
    heard(record(), {PEEPER: 2}, {PEEPER: 1})
    shown = page.get(address).content.decode()
    assert "1 of 1 (" in shown
    assert "0 of 1 (0% to" in shown
