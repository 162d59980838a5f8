"""What the filters of Seasons and Trends offer."""

import pytest

from surveys.models import Route, Species
from surveys.seasons.options import checklist_species, regions
from tests.support.builders import (
    make_checklist,
    make_program,
    make_route,
    make_species,
)

pytestmark = pytest.mark.django_db


def test_each_region_once_in_order_and_of_this_program_alone(program):
    for region in ("West", "", "East", "West"):
        Route.objects.filter(pk=make_route(program).pk).update(region=region)
    Route.objects.filter(pk=make_route(make_program()).pk).update(region="Far Away")
    assert regions(program) == ["East", "West"]


def test_species_of_the_checklist_in_the_order_of_the_program(program):
    peeper, toad = make_checklist(program, "Pseudacris crucifer", "Anaxyrus americanus")
    make_species("Lithobates sylvaticus")
    assert checklist_species(program) == [peeper, toad]
    program.checklist.filter(species=peeper).update(order=9)
    assert checklist_species(program) == [toad, peeper]
    assert set(checklist_species(program)) < set(Species.objects.all())
