"""The screens on water, stations and changes of wetlands, as axe-core sees them."""

import datetime as dt

import pytest
from django.urls import reverse

from surveys.models import Sighting
from tests.browser.conftest import faults_of
from tests.support.builders import (
    make_accepted_visit,
    make_change,
    make_checklist,
    make_route,
    make_station,
)

pytestmark = pytest.mark.django_db(transaction=True)


def test_axe_finds_nothing(program, coordinator, signed_in):
    make_checklist(program)
    route = make_route(program)
    nights = (dt.date(2024, 4, 1), dt.date(2024, 4, 15), dt.date(2024, 5, 20))
    for night, water in zip(nights, ("dry", "pools", "full"), strict=True):
        visit = make_accepted_visit(route, coordinator.person, night=night)
        visit.periods.update(water_tonight=water)
    species = program.checklist.get().species
    Sighting.objects.create(visit=visit, row=1, species=species, life_stage="adult", count=2)
    stop = route.stops.get(number=1)
    station = make_station(program, {nights[2]: (4.0, 5.0, 1.0)})
    change = make_change(stop, coordinator.person, note="Prescribed fire")
    assert change.pk
    screens = {
        "program_route": {"route": route.pk},
        "review_visit": {"visit": visit.pk},
        "stations": {},
        "station_delete": {"station": station.pk},
        "wetland_changes": {"stop": stop.pk},
    }
    addresses = [
        reverse(f"web:{name}", kwargs={"program": program.slug, **more})
        for name, more in screens.items()
    ]
    assert faults_of(signed_in(coordinator), addresses) == {}
