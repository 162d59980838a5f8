"""An ugly file in Chromium: fixed on the screen, imported, reviewed together, undone; and axe."""

import pytest
from django.urls import reverse

from surveys.models import Visit, VisitState
from tests.browser.conftest import faults_in_every_look
from tests.support.builders import make_checklist, make_route, make_version

pytestmark = pytest.mark.django_db(transaction=True)

UGLY = """\
Spring survey 2012,,,,,
Route,Date,Stop,Temp (F),Observer,Spring peeper
Route 1,16-Apr-12,1,48,W. Oakley,2
,,2,warm,,1
Total,,,,,3
Route 1,"April 20, 2012",1,50,Linden Harrow,
"""


def test_from_an_ugly_file_to_accepted_visits(program, coordinator, signed_in):
    version = make_version(program, settling_wait_s=60)
    make_route(program, version=version, code="R1")
    make_checklist(program, "Pseudacris crucifer")
    program.checklist.get().species.__class__.objects.update(common_name="Spring peeper")
    page = signed_in(coordinator)
    page.goto(reverse("web:import_start", args=[program.slug]))
    file = {"name": "2012.csv", "mimeType": "text/csv", "buffer": UGLY.encode()}
    page.get_by_label("Spreadsheet").set_input_files(file)
    page.get_by_role("button", name="Upload").click()
    assert faults_in_every_look(page) == []
    page.get_by_role("button", name="Check the file").click()
    # The likeliest route is chosen already.
    page.get_by_role("button", name="Use these answers").first.click()
    page.get_by_label("Read “warm” as").fill("-")
    assert faults_in_every_look(page) == []
    page.get_by_role("button", name="Use these answers").first.click()
    page.get_by_role("button", name="Import 2 visits").click()
    page.get_by_role("link", name="Review them together").click()
    assert faults_in_every_look(page) == []
    page.get_by_role("button", name="Accept 2 visits").click()
    page.get_by_text("2 visits are accepted.").wait_for()
    assert set(Visit.objects.values_list("state", "observer__name")) == {
        (VisitState.ACCEPTED, "W. Oakley"),
        (VisitState.ACCEPTED, "Linden Harrow"),
    }
    page.goto(reverse("web:people", args=[program.slug]))
    page.get_by_role("link", name="W. Oakley").click()
    assert faults_in_every_look(page) == []
