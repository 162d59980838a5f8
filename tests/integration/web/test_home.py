"""The way in: one programme, several, none."""

import pytest
from django.test import Client
from django.urls import reverse

from accounts.models import Role
from tests.support.builders import make_member, make_person, make_programme

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("role", "name"),
    [
        (Role.OBSERVER, "tonight"),
        (Role.COORDINATOR, "review"),
        (Role.PARTNER, "trends"),
    ],
)
def test_the_only_programme_opens_where_the_role_begins(programme, client_for, role, name):
    response = client_for(make_member(programme, role)).get("/")
    assert response.url == reverse(f"web:{name}", args=[programme.slug])


def test_several_programmes_are_offered(programme, observer, client_for):
    other = make_programme("Reed Coast")
    left = make_programme("Left Behind")
    make_member(other, Role.PARTNER, person=observer.person)
    make_member(left, person=observer.person, active=False)
    page = client_for(observer).get("/").content.decode()
    assert programme.name in page
    assert other.name in page
    assert "You are partner here" in page
    assert left.name not in page


def test_somebody_without_a_programme_is_told_what_to_do():
    person = make_person("Robin Fenwick")
    client = Client()
    client.force_login(person)
    page = client.get("/").content.decode()
    assert "Welcome, Robin Fenwick" in page
    assert "by invitation" in page


def test_strangers_are_asked_to_sign_in(client, db):
    assert client.get("/").url.startswith("/accounts/login/")
