"""A species that is listed from a past night asks before silence on visits becomes zeros."""

import datetime as dt

import pytest
from django.urls import reverse

from surveys.models import VisitState
from tests.support.builders import make_accepted_visit, make_route, make_species

pytestmark = pytest.mark.django_db

NIGHT = dt.date(2024, 4, 2)
OWN = {"scientific_name": "Lacuna inventa", "common_name": "Lake reed frog", "sensitivity": "0"}


@pytest.fixture
def client(coordinator, client_for, program, observer):
    route = make_route(program)
    make_accepted_visit(route, observer.person, night=NIGHT)
    make_accepted_visit(
        route,
        observer.person,
        night=NIGHT + dt.timedelta(days=20),
        state=VisitState.SET_ASIDE,
        counts_in_trends=False,
    )
    return client_for(coordinator)


@pytest.mark.parametrize("kind", ["own", "catalog"])
def test_a_species_listed_from_a_past_night_is_asked_about(client, program, kind):
    if kind == "own":
        address, data = reverse("web:program_own_species_add", args=[program.slug]), OWN
    else:
        species = make_species("Pseudacris ornata")
        address = reverse("web:program_species_add", args=[program.slug, species.code])
        data = {"sensitivity": "0"}
    assert "Observers listened for it" not in client.get(address).text

    # Left empty, it is listed from the start.
    for night in ("2024-04-02", ""):
        asked = client.post(address, data | {"listed_from": night})
        assert "Silence on 1 past visit would become a zero" in asked.text
        assert "Observers listened for it on those visits" in asked.text
        assert not program.checklist.exists()

    client.post(address, data | {"listed_from": "2024-04-02", "listened": "on"})
    assert program.checklist.get().listed_from == NIGHT


def test_after_the_last_visit_nothing_is_asked(client, program):
    address = reverse("web:program_own_species_add", args=[program.slug])
    client.post(address, OWN | {"listed_from": "2024-04-03"})
    entry = program.checklist.get()
    assert entry.listed_from == dt.date(2024, 4, 3)

    # Neither when it begins still later; but when it begins earlier.
    edit = reverse("web:program_entry", args=[program.slug, entry.pk])
    for night, becomes in (("2024-04-10", "2024-04-10"), ("2024-04-01", "2024-04-10")):
        seen = client.get(edit).context["form"].seen_text
        client.post(edit, {"sensitivity": "0", "listed_from": night, "seen": seen})
        entry.refresh_from_db()
        assert entry.listed_from.isoformat() == becomes


def test_a_visit_on_its_first_night_has_its_zeros_already(client, program):
    address = reverse("web:program_own_species_add", args=[program.slug])
    client.post(address, OWN | {"listed_from": f"{NIGHT}", "listened": "on"})
    entry = program.checklist.get()
    edit = reverse("web:program_entry", args=[program.slug, entry.pk])
    seen = client.get(edit).context["form"].seen_text
    client.post(edit, {"sensitivity": "0", "listed_from": "2024-04-01", "seen": seen})
    entry.refresh_from_db()
    assert entry.listed_from == dt.date(2024, 4, 1)
