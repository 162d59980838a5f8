"""An import is undone as a whole, and history says so."""

import pytest
from django.core.exceptions import PermissionDenied
from django.http import Http404
from django.urls import reverse

from accounts.models import Role
from surveys.importing.fixes import Fix
from surveys.importing.problems import ImportRefusedError
from surveys.importing.undoing import undo_import
from surveys.importing.uploads import (
    commit_upload,
    fix_cells,
    import_again,
    open_upload,
    same_file_before,
    store,
)
from surveys.models import SpreadsheetImport, Step, Visit, VisitState
from surveys.visits import verbs
from surveys.visits.exceptions import ReasonMissing
from surveys.visits.many import Selection, selected
from tests.integration.importing.conftest import wide
from tests.support.builders import make_member, make_program

pytestmark = pytest.mark.django_db

FILE = wide(
    "R1,2024-04-15,1,21:14,21:19,48,3,1",
    "R2,2024-04-15,1,21:14,21:19,48,0,1",
)
OTHER = wide("R2,2024-05-15,1,21:14,21:19,48,0,1")


@pytest.fixture
def imported(attempt, coordinator):
    upload = attempt(FILE).upload
    commit_upload(coordinator, upload)
    commit_upload(coordinator, attempt(OTHER, name="other.csv").upload)
    return upload.row


def test_the_visits_of_the_file_and_no_others(imported, coordinator, attempt):
    accepted = Visit.objects.get(route__code="R1")
    found = codes_of(accepted)
    for finding in list(accepted.findings.filter(severity="query")):
        accepted = verbs.settle(
            coordinator,
            finding.pk,
            settlement="counts",
            reason="Fine.",
            revision=accepted.revision,
        )
    verbs.accept(coordinator, accepted.pk, revision=accepted.revision)
    assert selected(coordinator, Selection(upload=imported.pk)).count() == 1

    assert undo_import(coordinator, imported.pk, reason="The wrong year.") == 2
    states = dict(Visit.objects.values_list("night", "state").filter(route__code="R2"))
    assert sorted(states.values()) == [VisitState.SET_ASIDE, VisitState.SUBMITTED]
    accepted.refresh_from_db()
    assert (accepted.state, accepted.counts_in_trends) == (VisitState.SET_ASIDE, False)
    step = accepted.steps.latest("pk")
    assert (step.step, step.by) == (Step.SET_ASIDE, coordinator.person)
    assert step.note == "The import of “visits.csv” was undone. The wrong year."

    # The corrected file is not taken for one that is there already.
    again = attempt(FILE)
    assert (again.problems, again.preview.known, same_file_before(again.upload)) == ([], 0, None)
    commit_upload(coordinator, again.upload)
    assert Visit.objects.filter(state=VisitState.SUBMITTED).count() == 3
    # Nor is a visit that is set aside another one of the same night.
    assert codes_of(Visit.objects.get(route__code="R1", state=VisitState.SUBMITTED)) == found


def codes_of(visit: Visit) -> set[str]:
    return set(visit.findings.values_list("code", flat=True))


def test_an_import_is_undone_once_and_with_a_reason(imported, coordinator, attempt):
    with pytest.raises(ReasonMissing):
        undo_import(coordinator, imported.pk, reason="  ")
    undo_import(coordinator, imported.pk, reason="A test.")
    with pytest.raises(ImportRefusedError, match="already"):
        undo_import(coordinator, imported.pk, reason="A test.")
    with pytest.raises(ImportRefusedError, match="not imported"):
        undo_import(coordinator, attempt(FILE).upload.row.pk, reason="A test.")


def test_only_coordinators_of_the_program(imported, observer):
    with pytest.raises(PermissionDenied):
        undo_import(observer, imported.pk, reason="Mine.")
    with pytest.raises(Http404):
        undo_import(make_member(make_program(), Role.COORDINATOR), imported.pk, reason="Mine.")
    assert not Visit.objects.filter(state=VisitState.SET_ASIDE).exists()


def test_the_kept_file_is_imported_again_with_the_same_answers(coordinator, client_for, program):
    text = FILE.replace("R1,", "First,", 1)
    row = store(coordinator, file_name="again.csv", content=text.encode())
    with pytest.raises(ImportRefusedError, match="not undone"):
        import_again(coordinator, row.pk)
    # What was fixed for one row holds for the very same file, though not for others.
    fix = Fix(column="Route", written="First", becomes="R1", row=2)
    fix_cells(coordinator, open_upload(coordinator, row.pk), [fix])
    commit_upload(coordinator, open_upload(coordinator, row.pk))
    undo_import(coordinator, row.pk, reason="A test.")
    client = client_for(coordinator)
    here = {"program": program.slug, "upload": row.pk}
    page = client.get(reverse("web:import_preview", kwargs=here)).content.decode()
    url = reverse("web:import_again", kwargs=here)
    assert url in page
    opened = client.post(url)
    again = SpreadsheetImport.objects.get(committed_at=None)
    assert opened.url.endswith(f"{again.pk}/columns/")
    assert (again.sha256, again.columns) == (row.sha256, row.columns)
    upload = open_upload(coordinator, again.pk)
    assert upload.fixes == (fix,)
    commit_upload(coordinator, upload)
    assert Visit.objects.filter(state=VisitState.SUBMITTED).count() == 2
    assert Visit.objects.filter(state=VisitState.SET_ASIDE).count() == 2
    with pytest.raises(Http404):
        import_again(make_member(make_program(), Role.COORDINATOR), row.pk)


def test_on_the_screen(imported, coordinator, client_for, program):
    client = client_for(coordinator)
    here = {"program": program.slug, "upload": imported.pk}
    page = client.get(reverse("web:import_preview", kwargs=here)).content.decode()
    assert "2 visits are waiting for review." in page
    assert f"review-many/?upload={imported.pk}" in page
    url = reverse("web:import_undo", kwargs=here)
    missing = client.post(url, {"reason": ""})
    assert missing.status_code == 400
    assert not Visit.objects.filter(state=VisitState.SET_ASIDE).exists()
    done = client.post(url, {"reason": "The wrong \0year."}, follow=True).content.decode()
    assert "2 visits were set aside." in done
    assert "The import was undone on" in done
    assert "Undo the import" not in done
    listed = client.get(reverse("web:import_start", kwargs={"program": program.slug}))
    assert "Imported and undone." in listed.content.decode()
