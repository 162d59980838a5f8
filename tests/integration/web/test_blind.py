"""The page on which a recording is heard without its sheet."""

import pytest
from django.urls import reverse

from accounts.models import Role
from surveys.api.serializers.records import ConfirmationSerializer
from surveys.models import BlindAnswer, Confirmation
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_member,
    make_route,
)
from tests.support.sounds import keep, make_stored_picture, sound

pytestmark = pytest.mark.django_db
PEEPER, TOAD = "pseudacris-crucifer", "anaxyrus-americanus"


@pytest.fixture
def visit(program, observer):
    peeper, toad = make_checklist(program, "Pseudacris crucifer", "Anaxyrus americanus")
    return make_accepted_visit(
        make_route(program, name="Mill Lane"),
        observer.person,
        heard={1: {peeper: 2, toad: 1}},
        start_air_temperature_c=12,
    )


@pytest.fixture
def recording(observer, visit):
    kept = keep(observer, visit, sound(), stop=1, species=PEEPER)
    make_stored_picture(kept)
    return kept


@pytest.fixture
def address(program, recording):
    return f"/{program.slug}/listening/{recording.pk}"


@pytest.fixture
def second(program):
    return make_member(program, Role.COORDINATOR)


def test_it_leads_to_the_recording_and_tells_nothing_of_the_visit(
    client_for, program, coordinator, visit, recording, address
):
    client = client_for(coordinator)
    listing = client.get(f"/{program.slug}/listening")
    assert listing.url == address
    page = client.get(address).content.decode()
    assert "12\u00a0°C" in page
    for told in (visit.route.code, "Mill Lane", visit.observer.name, str(visit.pk)):
        assert told not in page
    # Of each species, that it was not heard.
    assert page.count("checked") == page.count('value="" ') == 2
    answer = client.get(f"{address}/sound")
    assert b"".join(answer.streaming_content) == sound()
    assert PEEPER not in str(answer.headers)
    assert "Content-Disposition" not in answer.headers
    assert client.get(f"{address}/picture").status_code == 200


def test_answers_are_stored_and_the_coordinator_sees_them_with_the_visit(
    client_for, program, coordinator, second, visit, address
):
    answer = client_for(coordinator).post(address, {f"heard-{PEEPER}": "3"}, follow=True)
    assert "Your answer is saved." in answer.content.decode()
    assert "No recording waits for you" in answer.content.decode()
    client_for(second).post(address, {f"heard-{PEEPER}": "3", "note": "one far away"})
    assert BlindAnswer.objects.get(listener=second.person).note == "one far away"
    confirmation = Confirmation.objects.get()
    assert confirmation.call.species.code == PEEPER
    assert ConfirmationSerializer(confirmation).data["without_sheet"] is True
    page = (
        client_for(coordinator)
        .get(reverse("web:review_visit", args=[program.slug, visit.pk]))
        .content.decode()
    )
    assert "2 people heard this without the sheet." in page
    assert "Named by two: Pseudacris crucifer (3)" in " ".join(page.split())
    assert "On the sheet, and named by no one: Anaxyrus americanus" in " ".join(page.split())
    assert "(second of two who did not see the sheet)" in page


@pytest.mark.parametrize(
    ("posted", "trouble"),
    [
        ({}, "Choose what you heard"),
        ({"nothing": "on", f"heard-{PEEPER}": "1"}, "contradict each other"),
        ({"nothing": "on", "unusable": "on"}, "contradict each other"),
        ({f"heard-{PEEPER}": "4"}, "is not one of the choices"),
    ],
)
def test_what_makes_no_sense_is_asked_again_and_nothing_is_lost(
    client_for, coordinator, address, posted, trouble
):
    answer = client_for(coordinator).post(address, {**posted, "note": "wind"})
    assert answer.status_code == 422
    page = answer.content.decode()
    assert trouble in page
    assert "wind" in page
    assert not BlindAnswer.objects.exists()


def test_observers_learn_that_recordings_wait_once_they_may_listen(
    client_for, program, coordinator, address
):
    tested = make_member(program, Role.OBSERVER)
    tested.trained_on = "2020-01-01"
    tested.save()
    client, sheets = client_for(tested), reverse("web:sheets", args=[program.slug])
    assert "My visits" in client.get(sheets).content.decode()
    assert "second listener" not in client.get(sheets).content.decode()
    assert client.get(address).status_code == 403
    client_for(coordinator).post(f"/{program.slug}/listening/who", {"tested": "yes"})
    page = client_for(tested).get(sheets).content.decode()
    assert "1 recording by another observer waits for a second listener." in page
    assert client_for(tested).get(address).status_code == 200
