"""Reference calls over the API: who recorded them, under which license, and their sound."""

import pytest
from django.urls import reverse

from accounts.models import Scope
from accounts.tokens import make_token
from surveys.models import Species
from tests.integration.learning.conftest import ORNATE, PEEPER
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_member,
    make_program,
    make_route,
)
from tests.support.sounds import keep, make_stored_reference, sound

pytestmark = pytest.mark.django_db


@pytest.fixture
def kept(coordinator):
    return {
        code: make_stored_reference(
            None, Species.objects.get(code=code), coordinator, credit="Wren Tallow", sound=tones
        )
        for code, tones in ((PEEPER, b"whistles"), (ORNATE, b"pecks"))
    }


@pytest.fixture(autouse=True)
def catalog(db, program):
    make_checklist(program, "Pseudacris crucifer", "Pseudacris ornata")


def test_each_with_license_consent_and_measures(api_for, observer, kept):
    found = {one["species"]: one for one in api_for(observer).get("reference-calls/")["results"]}
    assert set(found) == {PEEPER, ORNATE}
    peeper = found[PEEPER]
    assert (peeper["by"], peeper["license"]) == ("Wren Tallow", "CC-BY-4.0")
    assert peeper["consent"] == "by word of mouth at the workshop"
    assert peeper["measures"] == kept[PEEPER].measures
    assert peeper["recording"] is None
    (only,) = api_for(observer).get(f"reference-calls/?species={ORNATE}")["results"]
    assert only["id"] == str(kept[ORNATE].pk)


def test_its_sound_by_parts_with_a_token_that_reads(client, coordinator, kept):
    secrets = {
        scope: make_token(coordinator, name=scope, scope=scope, days=30).secret
        for scope in (Scope.RECORDS, Scope.RESULTS)
    }
    signed = {"HTTP_AUTHORIZATION": f"Bearer {secrets[Scope.RECORDS]}"}
    (peeper,) = client.get(
        reverse("api:reference_calls", args=[coordinator.program.slug]),
        {"species": PEEPER},
        **signed,
    ).json()["results"]
    whole = client.get(peeper["sound"], **signed)
    assert (whole.status_code, whole["Content-Type"]) == (200, "audio/mp4")
    assert b"".join(whole.streaming_content) == b"whistles"
    part = client.get(peeper["sound"], HTTP_RANGE="bytes=3-5", **signed)
    assert (part.status_code, b"".join(part.streaming_content)) == (206, b"stl")
    assert client.get(peeper["sound"]).status_code == 401
    less = {"HTTP_AUTHORIZATION": f"Bearer {secrets[Scope.RESULTS]}"}
    assert client.get(peeper["sound"], **less).status_code == 403


def test_one_that_is_no_longer_confirmed_or_of_another_program_is_not_heard(
    api_for, client_for, observer, coordinator, program, kept
):
    visit = make_accepted_visit(make_route(program), observer.person)
    recording = keep(observer, visit, sound(), stop=1)
    taken = make_stored_reference(recording, Species.objects.get(code=PEEPER), coordinator)
    listed = [one["id"] for one in api_for(observer).get("reference-calls/")["results"]]
    assert str(taken.pk) not in listed
    elsewhere = make_member(make_program())
    for member, reference in ((observer, taken), (elsewhere, kept[PEEPER])):
        where = [member.program.slug, reference.pk]
        address = reverse("api:reference_call_sound", args=where)
        assert client_for(member).get(address).status_code == 404
