"""The screens of reminders: on and off, own words, a preview that saves nothing."""

import pytest

from surveys.models import ReminderSetting

pytestmark = pytest.mark.django_db


@pytest.fixture
def url(program) -> str:
    return f"/{program.slug}/program/reminders/half_gone"


def test_words_are_looked_at_and_then_saved(program, coordinator, client_for, url):
    client = client_for(coordinator)
    seen = client.get(url).context["form"].seen_text
    typed = {"seen": seen, "active": "on", "subject": "Hi {name}", "text": "Still due:\n{list}"}
    page = client.post(url, {**typed, "preview": "1"}).content.decode()
    assert f"Hi {coordinator.person.name}" in page
    assert not ReminderSetting.objects.exists()
    assert client.post(url, typed).status_code == 302
    setting = ReminderSetting.objects.get()
    assert (setting.active, setting.subject, setting.site_url) == (
        True,
        "Hi {name}",
        "http://testserver/",
    )
    assert "Your own" in client.get(f"/{program.slug}/program/reminders/").content.decode()


@pytest.mark.parametrize("button", [{}, {"preview": "1"}])
def test_a_place_that_there_is_not_is_said_and_nothing_is_lost(
    coordinator, client_for, url, button
):
    client = client_for(coordinator)
    seen = client.get(url).context["form"].seen_text
    typed = {"seen": seen, "active": "on", "subject": "", "text": "{list} {nmae}", **button}
    page = client.post(url, typed)
    assert "{nmae} is not a placeholder." in page.content.decode()
    assert page.context["form"]["text"].value() == "{list} {nmae}"
    assert not ReminderSetting.objects.exists()


def test_an_unknown_reminder_is_not_found(program, coordinator, client_for):
    response = client_for(coordinator).get(f"/{program.slug}/program/reminders/daily")
    assert response.status_code == 404
