"""Species of the catalog that sound alike, pulse, or have no call that is made."""

import pytest

from surveys.demo.catalog import load_species
from surveys.models import Species

PEEPER, ORNATE, TOAD = "pseudacris-crucifer", "pseudacris-ornata", "anaxyrus-americanus"
LEOPARD, GRAYS = "lithobates-pipiens", "gray-treefrogs"


@pytest.fixture(scope="module")
def catalog(module_rows):
    load_species()


@pytest.fixture
def checklist(catalog, program):
    for order, code in enumerate((PEEPER, ORNATE, TOAD, LEOPARD, GRAYS)):
        program.checklist.create(species=Species.objects.get(code=code), order=order)
    return program.checklist
