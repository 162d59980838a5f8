"""Reference calls of a program: kept from a confirmed recording or a file, heard by members."""

import numpy as np
import pytest
from django.core.exceptions import PermissionDenied
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone

from accounts.models import Role
from surveys.models import CallIndex, Confirmation, ReferenceCall, StorageUse
from surveys.sound.decoding import decode
from surveys.sound.measures import measure
from surveys.visits.exceptions import NoRoomLeft, NotYours, RecordingRefused, RecordingTooLarge
from surveys.visits.media import references as verbs
from surveys.visits.media.recordings import delete_recording_files_on_commit
from surveys.web.calls.page import to_compare
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_member,
    make_program,
    make_route,
)
from tests.support.callers import Caller, sung
from tests.support.encoded import encoded
from tests.support.sounds import keep, make_stored_reference, wave_file

pytestmark = pytest.mark.django_db
TERMS = verbs.Terms(license="CC-BY-4.0", consent="by email on May 3")


@pytest.fixture(scope="module")
def sound():
    """A whistle at 2,950 Hz, and after ten seconds one at 1,200 Hz."""
    first, second = (
        sung([Caller(pitch_hz=pitch, note_s=0.3)], snr_db=20, seconds=10.0)
        for pitch in (2950, 1200)
    )
    whole = type(first)(samples=np.concatenate([first.samples, second.samples]))
    return encoded("FLAC", whole)


@pytest.fixture
def peeper(program):
    (species,) = make_checklist(program)
    return species


@pytest.fixture
def recording(program, observer, peeper, sound):
    visit = make_accepted_visit(make_route(program), observer.person, heard={1: {peeper: 2}})
    content, media_type = sound
    return keep(observer, visit, content, stop=1, media_type=media_type, species=peeper.code)


@pytest.fixture
def confirmation(recording, coordinator):
    return Confirmation.objects.create(
        call=CallIndex.objects.get(period__visit=recording.visit),
        recording=recording,
        by=coordinator.person,
        at=timezone.now(),
    )


def mark(member, recording, species, begin_s=12.0, end_s=18.0):
    return verbs.mark_reference(
        member, recording.pk, species=species.code, begin_s=begin_s, end_s=end_s, terms=TERMS
    )


def bring(member, species, content=None, **part):
    upload = SimpleUploadedFile("call.wav", wave_file(3) if content is None else content)
    part = {"begin_s": 0.5, "end_s": 2.0, **part}
    terms = verbs.Terms(license="CC0-1.0", consent="asked at the pond", credit="Wren Tallow")
    return verbs.bring_reference(member, species.code, upload, terms=terms, **part)


def test_a_part_of_a_confirmed_recording_is_kept_alone(
    coordinator, observer, recording, confirmation, peeper
):
    kept = mark(coordinator, recording, peeper)
    assert (kept.begin_s, kept.end_s, kept.seconds) == (12, 18, 6)
    assert kept.by == observer.person.name
    with kept.audio.open("rb") as file:
        wave = decode(file.read(), verbs.MEDIA_TYPE)
    assert wave.seconds == pytest.approx(6, abs=0.15)
    heard = measure(wave).bands[0].pitch_hz
    assert heard == pytest.approx(1200, rel=0.02), "and nothing of the ten seconds before"
    assert kept.measures["bands"][0]["pitch_hz"] == pytest.approx(1200, rel=0.02)
    assert kept.bytes == kept.audio.size + kept.image.size < 150_000
    stored = StorageUse.objects.get(program=coordinator.program, person=coordinator.person)
    assert stored.bytes == kept.bytes
    assert list(verbs.heard_references(observer)) == [kept]


def test_without_a_confirmation_there_is_none(coordinator, recording, peeper):
    with pytest.raises(RecordingRefused, match="not confirmed"):
        mark(coordinator, recording, peeper)


def test_a_confirmation_that_is_withdrawn_silences_it(
    coordinator, observer, recording, confirmation, peeper
):
    kept = mark(coordinator, recording, peeper)
    confirmation.delete()
    for member in (observer, coordinator):
        with pytest.raises(NotYours):
            verbs.find_reference(member, kept.pk)
    (listed,) = verbs.kept_references(coordinator.program)
    assert not listed.is_confirmed


def test_who_may_keep_hear_and_delete(coordinator, observer, partner, peeper):
    with pytest.raises(PermissionDenied):
        bring(observer, peeper)
    kept = bring(coordinator, peeper)
    assert kept.by == "Wren Tallow"
    assert verbs.find_reference(observer, kept.pk) == kept
    stranger = make_member(make_program(), Role.COORDINATOR)
    for member in (partner, stranger):
        with pytest.raises(NotYours):
            verbs.find_reference(member, kept.pk)
    with pytest.raises(PermissionDenied):
        verbs.remove_reference(observer, kept.pk)
    with pytest.raises(NotYours):
        verbs.remove_reference(stranger, kept.pk)


def test_deleting_takes_the_files_and_keeps_the_history(
    coordinator, peeper, django_capture_on_commit_callbacks
):
    kept = bring(coordinator, peeper)
    names = [kept.audio.name, kept.image.name]
    assert all(map(default_storage.exists, names))
    with django_capture_on_commit_callbacks(execute=True):
        verbs.remove_reference(coordinator, kept.pk)
    assert not any(map(default_storage.exists, names))
    labels = ReferenceCall.pgh_event_model.objects.filter(pgh_obj_id=kept.pk)
    assert [event.pgh_label for event in labels.order_by("pgh_id")] == ["insert", "delete"]


def test_it_goes_with_its_recording(
    coordinator, recording, confirmation, peeper, django_capture_on_commit_callbacks
):
    kept = mark(coordinator, recording, peeper)
    with django_capture_on_commit_callbacks(execute=True):
        delete_recording_files_on_commit(type(recording).objects.filter(pk=recording.pk))
        recording.delete()
    assert not ReferenceCall.objects.exists()
    assert not default_storage.exists(kept.audio.name)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"%PDF-1.7 a text", "We cannot use this kind of sound file"),
        (b"", "We cannot use this kind of sound file"),
        (b"RIFF\x10\0\0\0WAVEfmt broken", "could not be read"),
    ],
    ids=["a text", "nothing", "broken"],
)
def test_what_is_no_sound(coordinator, peeper, content, words):
    with pytest.raises(RecordingRefused, match=words):
        bring(coordinator, peeper, content)


def test_a_part_behind_the_end(coordinator, peeper):
    with pytest.raises(RecordingRefused, match="ends before this part"):
        bring(coordinator, peeper, begin_s=30.0, end_s=40.0)
    kept = bring(coordinator, peeper, begin_s=1.0, end_s=20.0)
    assert kept.seconds == pytest.approx(2, abs=0.05), "as far as there is sound"


def test_no_more_than_a_species_and_a_program_have_room_for(coordinator, peeper, settings):
    for _ in range(verbs.MOST_OF_A_SPECIES):
        make_stored_reference(None, peeper, coordinator, credit="Wren Tallow")
    with pytest.raises(RecordingRefused, match="room for 5 reference calls"):
        bring(coordinator, peeper)
    ReferenceCall.objects.first().delete()
    settings.MOST_BYTES_OF_A_PROGRAM = 100
    with pytest.raises(NoRoomLeft):
        bring(coordinator, peeper)


def test_a_file_that_is_too_large(coordinator, peeper, monkeypatch):
    monkeypatch.setattr(verbs, "MAX_BYTES", 1000)
    with pytest.raises(RecordingTooLarge):
        bring(coordinator, peeper)


def test_what_a_recording_is_compared_with(coordinator, recording, confirmation, peeper):
    kept = mark(coordinator, recording, peeper)
    (shown,) = to_compare(coordinator, recording)
    assert (shown.species, shown.references) == (peeper, [kept])
    period = recording.visit.periods.get(stop=recording.stop)
    assert verbs.air_at(recording) == (period.air_temperature_c and float(period.air_temperature_c))
