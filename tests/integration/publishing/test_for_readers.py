"""The report and the Darwin Core Archive from rows in the database."""

import itertools

import pytest
from django.contrib.gis.geos import Point
from django.urls import reverse

from accounts.models import Role
from surveys.fitting.refit import refit
from surveys.models import Sensitivity, Stop
from surveys.publishing.about import about_publication
from surveys.publishing.build import RESULTS
from surveys.publishing.formats import darwincore, report
from surveys.publishing.freeze import freeze, snapshot
from surveys.publishing.frozen import write_table
from surveys.publishing.stops import shared_stops
from tests.support.builders import make_member
from tests.support.frozen import PUBLISHED_AT, SITE, small_frozen, small_program
from tests.support.leaks import Secrets, leaks

pytestmark = pytest.mark.django_db


def test_picture_in_the_report_is_the_file_of_the_page(tmp_path, client_for):
    program = small_program()
    refit(program)
    client = client_for(make_member(program, Role.PARTNER))
    drawn = report.draw(small_frozen(tmp_path, program=program))
    for page in drawn.pages:
        entry = program.checklist.get(species__scientific_name=page.summary.scientific_name)
        address = reverse(
            "web:trend_chart",
            kwargs={"program": program.slug, "code": entry.species.code, "form": "svg"},
            query={"site": "stop"},
        )
        assert client.get(address).content.decode() == drawn.pictures[page.picture]
    assert len(drawn.pages) == 3


@pytest.mark.parametrize("level", [Sensitivity.MEDIUM, Sensitivity.HIGH, Sensitivity.EXTREME])
def test_no_exact_place_in_either(level, tmp_path):
    program = small_program()
    program.place_sharing = level
    program.save()
    for number, stop in enumerate(Stop.objects.order_by("pk"), start=1):
        stop.name = f"Quillfeather Culvert {number}"
        # Far from the middle of every cell of these levels.
        stop.place = Point(-89.39837 + number / 100, 43.07137 + number / 100, srid=4326)
        stop.save()
    frozen = _frozen_rows(program, tmp_path)
    known = [row["stop"] for row in frozen.records("stops") if row["latitude"] is not None]
    assert (known == []) == (level is Sensitivity.EXTREME)
    secrets = _secrets(program)
    for name, write in (("a.zip", darwincore.write), ("a.pdf", report.write)):
        write(frozen, tmp_path / name)
        assert leaks(secrets, (tmp_path / name).read_bytes()) == []


def _frozen_rows(program, folder):
    """Without what is worked out from the rows, which knows no places."""
    with snapshot():
        about = about_publication(
            program, 2024, version=1, reason="", published_at=PUBLISHED_AT, site_url=SITE
        )
        frozen = freeze(program, folder, about)
    for table in RESULTS:
        write_table(folder, table, ())
    return frozen


def _secrets(program):
    """Of a place that is withheld, what is given instead lies nowhere near."""
    stops = sorted(shared_stops(program).values(), key=lambda stop: stop.row.route)
    routes = itertools.groupby(stops, key=lambda stop: stop.row.route)
    return Secrets(
        routes=[[(stop.row.latitude, stop.row.longitude) for stop in own] for _, own in routes],
        shared=[(stop.shared.latitude or 0.0, stop.shared.longitude or 0.0) for stop in stops],
        names=["Quillfeather Culvert"],
    )
