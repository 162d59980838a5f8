"""The pages of calls: what plays, in words too; keeping and deleting reference calls."""

import json
import re

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone

from surveys.demo.catalog import load_species
from surveys.models import CallIndex, Confirmation, ReferenceCall, Species
from surveys.sound.calls import calls
from surveys.web.calls.forms import LONGEST_S
from surveys.web.calls.page import MOST_BYTES_ON_PHONE, references_for_phones
from tests.support.builders import make_accepted_visit, make_route
from tests.support.sounds import keep, make_stored_picture, make_stored_reference, wave_file

pytestmark = pytest.mark.django_db
AGREED = {"consent": "by email on May 3", "license": "CC-BY-4.0"}


@pytest.fixture(scope="module")
def catalog(module_rows):
    load_species()


@pytest.fixture
def peeper(catalog, program):
    species = Species.objects.get(code="pseudacris-crucifer")
    program.checklist.create(species=species)
    return species


def url(member, name, **where):
    return reverse(f"web:{name}", kwargs={"program": member.program.slug, **where})


def words(answer):
    shown = re.sub(r"<[^>]+>", " ", answer.content.decode())
    return " ".join(shown.split())


def test_the_checklist_plays_in_words_too(client_for, observer, program, peeper):
    for code in ("gray-treefrogs", "lithobates-pipiens", "anaxyrus-quercicus"):
        program.checklist.create(species=Species.objects.get(code=code))
    answer = client_for(observer).get(url(observer, "calls"))
    shown = words(answer)
    assert "At 12 °C (54 °F): rising from 2,700 to 2,950 Hz." in shown
    assert "At 20 °C (68 °F): 2,200 together with 1,100 Hz, 22 pulses a second." in shown
    assert "At 20 °C (68 °F): 2,400 together with 1,200 Hz, 46 pulses" in shown, (
        "both of a joint entry"
    )
    assert "No call made by computer: Northern leopard frog." in shown
    assert shown.count("Very high: many people do not hear") == 1
    assert "do not play calls at the wetland" in shown
    carried = re.findall(r'data-call="([^"]+)"', answer.content.decode())
    played = [json.loads(one.replace("&quot;", '"'))["species"] for one in carried]
    assert played == [
        "pseudacris-crucifer",
        "dryophytes-chrysoscelis",
        "dryophytes-versicolor",
        "anaxyrus-quercicus",
    ]


def test_a_species_stands_beside_what_sounds_like_it(client_for, observer, peeper):
    shown = words(client_for(observer).get(url(observer, "call", species=peeper.code)))
    assert "The peeper whistles once a second and slides upward." in shown
    assert "Ornate chorus frog" in shown
    assert "2,700 to 2,780 Hz" in shown, "and it plays"
    assert "Add a reference call" not in shown


def test_a_file_becomes_a_reference_call(client_for, coordinator, observer, peeper):
    page = client_for(coordinator)
    address = url(coordinator, "reference_bring", species=peeper.code)
    form = {**AGREED, "begin_s": "0.5", "end_s": "2.5", "credit": "Wren Tallow"}
    form |= {"air": "59", "air_unit": "F"}
    sound = SimpleUploadedFile("call.wav", wave_file(3), "audio/wav")
    answer = page.post(address, {**form, "sound": sound}, follow=True)
    kept = ReferenceCall.objects.get()
    assert kept.air_celsius == 15
    assert "A reference call of Spring peeper is kept." in words(answer)
    assert "Agreed: by email on May 3" in words(answer)
    shown = words(client_for(observer).get(url(observer, "call", species=peeper.code)))
    assert "Spring peeper, recorded by Wren Tallow (CC-BY-4.0)" in shown
    assert "by email" not in shown, "only coordinators read how somebody agreed"
    heard = client_for(observer).get(url(observer, "reference_sound", reference_id=kept.pk))
    assert (heard["Content-Type"], heard.status_code) == ("audio/mp4", 200)
    deleted = page.post(url(coordinator, "reference_remove", reference_id=kept.pk), follow=True)
    assert "The reference call is deleted." in words(deleted)
    assert not ReferenceCall.objects.exists()


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ({"end_s": "30"}, "A reference call has at most 20 seconds."),
        ({"end_s": "0.7"}, "Choose at least 0.5 seconds after the beginning."),
        ({"consent": ""}, "How the person who recorded it agreed: This is missing."),
        ({"credit": ""}, "Who recorded it: This is missing."),
        ({"air": "59", "air_unit": "C"}, "No frog calls at this temperature. Check the number"),
        ({"sound": SimpleUploadedFile("notes.txt", b"a text")}, "We cannot use this kind of sound"),
    ],
)
def test_what_is_wrong_is_said_and_kept(client_for, coordinator, peeper, wrong, sentence):
    form = {**AGREED, "begin_s": "0.5", "end_s": "2.5", "credit": "Wren Tallow"}
    sound = SimpleUploadedFile("call.wav", wave_file(3), "audio/wav")
    address = url(coordinator, "reference_bring", species=peeper.code)
    answer = client_for(coordinator).post(address, {**form, "sound": sound, **wrong})
    assert answer.status_code == 400
    assert sentence in words(answer)
    assert 'value="0.5"' in answer.content.decode(), "what was typed stays"
    assert LONGEST_S == 20


def test_from_a_recording_to_its_reference(client_for, coordinator, observer, program, peeper):
    visit = make_accepted_visit(make_route(program), observer.person, heard={1: {peeper: 2}})
    said = {"media_type": "audio/wav", "species": peeper.code}
    recording = keep(observer, visit, wave_file(30), stop=1, **said)
    make_stored_picture(recording, seconds=30)
    page = client_for(coordinator)
    listen = url(coordinator, "recording_listen", recording_id=recording.pk)
    mark = url(coordinator, "reference_mark", recording_id=recording.pk)
    assert mark in page.get(listen).content.decode()
    assert "No species is confirmed in this recording yet." in words(page.get(mark))
    call = CallIndex.objects.get(period__visit=visit)
    Confirmation.objects.create(
        call=call, recording=recording, by=coordinator.person, at=timezone.now()
    )
    asked = page.get(mark, {"begin_s": "3.5", "end_s": "9"}).content.decode()
    assert 'value="3.5"' in asked, "the part that was chosen on the page before"
    part = {"begin_s": "3.5", "end_s": "9", "species": peeper.code}
    answer = page.post(mark, {**AGREED, **part}, follow=True)
    assert f"Spring peeper, recorded by {observer.person.name} (CC-BY-4.0)" in words(answer)
    kept = ReferenceCall.objects.get()
    assert (kept.recording, kept.begin_s, kept.end_s) == (recording, 3.5, 9)
    shown = page.get(listen)
    assert url(coordinator, "reference_sound", reference_id=kept.pk) in shown.content.decode()
    assert "Ornate chorus frog" not in words(shown), "it is not on the checklist"


def test_tonight_has_what_calls_now(client_for, observer, program, peeper):
    entry = program.checklist.get(species=peeper)
    address = url(observer, "tonight")
    assert "Likely tonight" in words(client_for(observer).get(address))
    today = timezone.now().date()
    entry.calls_from_month = entry.calls_to_month = 1 if today.month == 7 else 7
    entry.calls_from_day, entry.calls_to_day = 5, 6
    entry.save()
    assert "Likely tonight" not in words(client_for(observer).get(address))


def test_a_phone_takes_one_of_each_species_first(coordinator, observer, program, peeper):
    toad = Species.objects.get(code="anaxyrus-americanus")
    size = MOST_BYTES_ON_PHONE // 2 - 1
    for species in (peeper, peeper, toad, toad):
        make_stored_reference(None, species, coordinator, credit="Wren Tallow", bytes=size)
    taken = references_for_phones(observer, {peeper.code, toad.code})
    assert sorted(one["species"] for one in taken) == [toad.code, peeper.code]
    assert [one["species"] for one in references_for_phones(observer, {toad.code})] == [
        toad.code,
        toad.code,
    ]


def test_the_table_is_of_the_catalog(catalog):
    codes = set(Species.objects.values_list("code", flat=True))
    assert set(calls()) <= codes
