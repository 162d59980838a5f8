"""Routes brought in from a file in Chromium: the map, the table, and axe on every screen."""

import pytest
from django.urls import reverse

from surveys.models import RouteImport, Stop
from tests.browser.conftest import faults_in_every_look
from tests.support import places
from tests.support.builders import make_version

pytestmark = pytest.mark.django_db(transaction=True)


def test_from_the_file_to_the_routes(program, coordinator, signed_in):
    make_version(program, min_stop_spacing_m=500.0)
    page = signed_in(coordinator)
    page.goto(reverse("web:program_routes", args=[program.slug]))
    page.get_by_role("link", name="Import routes").first.click()
    content = places.kml().replace(b"<value>2<", b"<value>two<", 1)
    file = {"name": "routes.kml", "mimeType": "application/xml", "buffer": content}
    page.get_by_label("File with routes and stops").set_input_files(file)
    page.get_by_role("button", name="Upload").click()
    page.get_by_role("heading", name="Not ready yet").wait_for()
    # As many signs as stops that could be read, or one a route where they would overlap.
    signs = page.locator("[data-map] .leaflet-marker-icon")
    signs.first.wait_for()
    assert signs.count() in (2, 5)
    assert faults_in_every_look(page) == []
    page.get_by_role("link", name="“two” is not the number of a stop").click()
    page.get_by_label("Number, row 2 of the file").fill("2")
    assert faults_in_every_look(page) == []
    page.get_by_role("button", name="Save").click()
    page.get_by_role("button", name="Import the routes").click()
    page.get_by_text("Added: 2 routes and 6 stops.").wait_for()
    assert Stop.objects.filter(route__program=program).count() == 6
    page.get_by_role("button", name="Undo the import").click()
    page.get_by_text("was undone on").wait_for()
    assert RouteImport.objects.get().undone_at is not None
    assert not program.routes.exists()
