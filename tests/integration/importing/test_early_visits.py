"""Visits of years in which the stops of their routes do not exist yet, as on a new site."""

import datetime as dt

import pytest
from django.urls import reverse

from surveys.importing.uploads import open_upload, preview_upload, store
from surveys.models import Stop
from surveys.programs.first_nights import begin_earlier
from tests.support.builders import make_program, make_route

pytestmark = pytest.mark.django_db

OLD = """\
Route,Date,Stop,Start time,Spring peeper
R1,2012-04-16,1,21:10,2
R1,2012-04-16,2,21:20,0
R1,2013-04-18,1,21:10,1
R2,2013-04-18,1,21:10,1
"""


@pytest.fixture
def late_stops(program):
    """Those of R1 begin in 2026; its third was added in 2027."""
    stops = Stop.objects.filter(route__program=program, route__code="R1")
    stops.update(active_from=dt.date(2026, 1, 1))
    stops.filter(number=3).update(active_from=dt.date(2027, 1, 1))
    return stops


def test_the_stops_of_a_route_begin_earlier_by_one_answer(
    coordinator, client_for, program, late_stops
):
    row = store(coordinator, file_name="old.csv", content=OLD.encode())
    here = {"program": program.slug, "upload": row.pk}
    client = client_for(coordinator)
    page = client.get(reverse("web:import_preview", kwargs=here))
    (problem,) = page.context["seen"].problems
    assert "begin later, on 1 January 2026" in problem.message
    assert problem.all_rows == (2, 3, 4)
    assert page.context["seen"].early == (("R1", "2012-04-16"),)

    client.post(reverse("web:import_fix", kwargs=here), {"begin_earlier": "1"})
    begin = dict(late_stops.values_list("number", "active_from"))
    assert begin == {1: dt.date(2012, 4, 16), 2: dt.date(2012, 4, 16), 3: dt.date(2027, 1, 1)}
    seen = preview_upload(coordinator, open_upload(coordinator, row.pk))
    assert seen.can_commit
    assert seen.visits == 3
    # The history of the program has it.
    assert late_stops.get(number=1).events.filter(active_from=dt.date(2012, 4, 16)).exists()


def test_stops_never_begin_later_and_never_elsewhere(coordinator, program, late_stops):
    elsewhere = make_route(make_program("elsewhere"), code="R1").stops.first()
    assert begin_earlier(coordinator, {"R1": dt.date(2030, 1, 1)}) == 0
    assert begin_earlier(coordinator, {"R1": dt.date(1990, 1, 1)}) == 2
    before = elsewhere.active_from
    elsewhere.refresh_from_db()
    assert elsewhere.active_from == before
