"""The way in: one program, several, none."""

import pytest
from django.test import Client
from django.urls import reverse

from accounts.models import Role
from tests.support.builders import (
    make_member,
    make_person,
    make_program,
)

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("role", "name"),
    [
        (Role.OBSERVER, "tonight"),
        (Role.COORDINATOR, "desk"),
        (Role.PARTNER, "trends"),
    ],
)
def test_person_with_one_program_starts_on_the_screen_of_their_role(
    program, client_for, role, name
):
    response = client_for(make_member(program, role)).get("/")
    assert response.url == reverse(f"web:{name}", args=[program.slug])


def test_person_with_several_programs_chooses_one(program, observer, client_for):
    other = make_program("Reed Coast")
    left = make_program("Left Behind")
    make_member(other, Role.PARTNER, person=observer.person)
    make_member(left, person=observer.person, active=False)
    page = client_for(observer).get("/").content.decode()
    assert program.name in page
    assert other.name in page
    assert "Your role: partner" in page
    assert left.name not in page


def test_person_without_a_program_is_told_what_to_do():
    person = make_person("Robin Fenwick")
    client = Client()
    client.force_login(person)
    page = client.get("/").content.decode()
    assert "Welcome, Robin Fenwick" in page
    assert "Coordinators invite people to a program" in page


def test_strangers_are_asked_to_sign_in(client, db):
    assert client.get("/").url.startswith("/accounts/login/")


@pytest.mark.parametrize(
    ("following", "goes_to"),
    [("/guide/", "/guide/"), ("//elsewhere.example", "/"), ("2024-02-30", "2024-02-30")],
)
def test_the_theme_is_kept_and_leads_back_within_the_site(following, goes_to):
    response = Client().post("/theme", {"theme": "night", "next": following})
    assert (response.status_code, response["Location"]) == (302, goes_to)
    assert response.cookies["theme"].value == "night"
    response = Client().post("/theme", {"night": "amber", "next": following})
    assert {name: one.value for name, one in response.cookies.items()} == {"night": "amber"}
