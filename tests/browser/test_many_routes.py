"""120 routes of 10 stops, from the file to the list, with two slips corrected on the way."""

import time

import pytest
from django.urls import reverse

from surveys.models import Stop
from tests.support import places
from tests.support.builders import make_version

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.slow]
MOST_SECONDS = 120


def test_120_routes_on_the_screens(program, coordinator, signed_in):
    make_version(program, min_stop_spacing_m=500.0)
    page = signed_in(coordinator)
    began = time.monotonic()
    page.goto(reverse("web:program_routes", args=[program.slug]))
    page.get_by_role("link", name="Import routes").first.click()
    content = places.kml(places.points_of(120, 10)).replace(b"<value>2<", b"<value>two<", 1)
    content = content.replace(b"-89.3762,43.0731,0", b"89.3762,43.0731,0")
    file = {"name": "routes.kml", "mimeType": "application/xml", "buffer": content}
    page.get_by_label("File with routes and stops").set_input_files(file)
    page.get_by_role("button", name="Upload").click()
    page.get_by_role("link", name="“two” is not the number of a stop").click()
    page.get_by_label("Number, row 2 of the file").fill("2")
    page.get_by_label("Longitude, row 3 of the file").fill("89° 22.572′ W")
    page.get_by_role("button", name="Save").click()
    page.get_by_role("button", name="Import the routes").click()
    page.get_by_text("Added: 120 routes and 1,200 stops.").wait_for()
    assert time.monotonic() - began < MOST_SECONDS
    assert Stop.objects.filter(route__program=program).count() == 1_200
