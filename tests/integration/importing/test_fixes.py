"""Cells that cannot be read are decided about once, for all their rows; and remembered."""

import json
from io import BytesIO

import pytest
from django.core.exceptions import PermissionDenied
from django.urls import reverse
from openpyxl import load_workbook

from accounts.models import Role
from surveys.importing.fixes import Fix
from surveys.importing.layout import Layout
from surveys.importing.problems import ProblemKind
from surveys.importing.uploads import (
    choose_layout,
    commit_upload,
    drop_fixes,
    fix_cells,
    open_upload,
    preview_upload,
    store,
)
from surveys.models import CallIndex, Submission, Visit
from tests.integration.importing.conftest import night, workbook
from tests.support.builders import make_member, make_program

pytestmark = pytest.mark.django_db

UGLY = """\
Route,Date,Stop,Temp (F),Species,Index
Route 1,16-Feb-12,1,48,Spring peper,2
Route 1,16-Feb-12,2,warm,Spring peper,1
,,3,warm,Barred owl,1
Total,,,,,4
Route 2,"Thu, February 16, 2012",1,50,none,
"""


def seen(coordinator, row):
    return preview_upload(coordinator, open_upload(coordinator, row.pk))


def test_an_ugly_file_is_fixed_on_the_screen(coordinator, client_for, program):
    row = store(coordinator, file_name="2012.csv", content=UGLY.encode())
    client = client_for(coordinator)
    here = {"program": program.slug, "upload": row.pk}
    url = reverse("web:import_preview", kwargs=here)
    page = client.get(url)
    problems = {(p.kind, p.written): p for p in page.context["seen"].problems}
    assert set(problems) == {
        (ProblemKind.ROUTE, "Route 1"),
        (ProblemKind.ROUTE, "Route 2"),
    }
    assert problems[ProblemKind.ROUTE, "Route 1"].all_rows == (2, 3, 4)
    answer(client, here, page, {"Route 1": "R1", "Route 2": "R2"})

    page = client.get(url)
    assert [(p.kind, p.written, p.all_rows) for p in page.context["seen"].problems] == [
        (ProblemKind.SPECIES, "Spring peper", (2, 3)),
        (ProblemKind.CELL, "warm", (3, 4)),
        (ProblemKind.SPECIES, "Barred owl", (4,)),
    ]
    suggested = {
        item.problem.written: item.suggested
        for group in page.context["groups"]
        for item in group.items
    }
    assert suggested["Spring peper"] == "pseudacris-crucifer"
    assert 'value="pseudacris-crucifer" selected' in page.content.decode()
    answer(
        client,
        here,
        page,
        {"Spring peper": "pseudacris-crucifer", "warm": "-", "Barred owl": "leave-out"},
    )
    page = client.get(url)
    assert page.context["seen"].problems == ()
    assert "Route: rows with" not in page.content.decode()
    assert "Species: rows with “Barred owl” are left out." in page.content.decode()

    commit_upload(coordinator, open_upload(coordinator, row.pk))
    assert set(Visit.objects.values_list("route__code", "night")) == {
        ("R1", night("2012-02-16")),
        ("R2", night("2012-02-16")),
    }
    heard = CallIndex.objects.filter(index__isnull=False).values_list(
        "period__stop__number", "index"
    )
    assert set(heard) == {(1, 2), (2, 1)}
    # The file is kept as it is.
    raw = Submission.objects.get(visit__route__code="R1").cells
    assert raw["imported.2.Route"] == "Route 1"
    assert raw["imported.3.Temp (F)"] == "warm"


def answer(client, here, page, answers):
    data = {}
    for group in page.context["groups"]:
        for item in group.items:
            data[f"problem_{item.number}"] = item.plain
            if item.problem.written in answers:
                data[f"as_{item.number}"] = answers[item.problem.written]
    response = client.post(reverse("web:import_fix", kwargs=here), data)
    assert response.status_code == 302


def test_the_next_file_with_the_same_columns_needs_no_answers(coordinator, attempt):
    first = attempt(UGLY)
    fix_cells(
        coordinator,
        first.upload,
        [
            Fix(column="Route", written="Route 1", becomes="R1"),
            Fix(column="Route", written="Route 2", becomes="R2"),
            Fix(column="Temp (F)", written="warm", becomes="-"),
            Fix(column="Species", written="Spring peper", becomes="pseudacris-crucifer"),
            Fix(column="Species", written="Barred owl", becomes=None),
            Fix(column="Temp (F)", written="48", becomes="49", row=2),
        ],
    )
    row = store(coordinator, file_name="2013.csv", content=UGLY.replace("12", "13").encode())
    assert row.answers["as_in"] == "visits.csv"
    # What was decided about one row says nothing about another file.
    assert len(row.answers["fixes"]) == 5
    after = seen(coordinator, row)
    assert (after.problems, after.visits) == ((), 2)
    drop_fixes(coordinator, open_upload(coordinator, row.pk))
    assert seen(coordinator, row).problem_count == 2

    other = store(coordinator, file_name="x.csv", content=UGLY.replace("Temp", "Air").encode())
    assert "as_in" not in other.answers


def test_files_of_another_program_are_not_remembered(coordinator, attempt):
    attempt(UGLY)
    stranger = make_member(make_program(), Role.COORDINATOR)
    row = store(stranger, file_name="x.csv", content=UGLY.encode())
    assert "as_in" not in row.answers


def test_a_row_that_clashes_is_changed_or_left_out_alone(coordinator, attempt):
    text = (
        "Route,Date,Stop,Start,End,Spring peeper\n"
        "R1,2012-04-15,1,21:14,21:10,1\nR1,2012-04-15,1,21:24,21:29,2\n"
        "R2,2012-04-15,1,21:05,21:10,1\n"
    )
    tried = attempt(text)
    kinds = {(p.kind, p.column, p.row) for p in tried.preview.problems}
    assert kinds == {(ProblemKind.CLASH, "End", 2), (ProblemKind.ROWS, None, 3)}
    fix_cells(
        coordinator,
        tried.upload,
        [
            Fix(column="End", written="21:10", becomes="21:19", row=2),
            Fix(column="", written="", becomes=None, row=3),
        ],
    )
    after = seen(coordinator, tried.upload.row)
    assert (after.problems, after.visits, after.stops) == ((), 2, 2)


def test_what_is_no_answer_changes_nothing_and_is_told(coordinator, client_for, program):
    row = store(coordinator, file_name="2012.csv", content=UGLY.encode())
    url = reverse("web:import_fix", kwargs={"program": program.slug, "upload": row.pk})
    client = client_for(coordinator)
    for sent in (
        "[]",
        "no json",
        json.dumps(["route", "No such column", "x", [2]]),
        json.dumps(["route", "Route", {"a": 1}, [2]]),
        json.dumps(["route", "Route", "Route 1", ["x"]]),
        json.dumps(["route", "Route", "Route 1", None]),
        json.dumps(["cell", "Route\0", "Route\0 1", [2]]),
    ):
        assert client.post(url, {"problem_0": sent, "as_0": "R1"}).status_code == 302
    sent = json.dumps(["route", "Route", "Route 1", [2]])
    refused = client.post(url, {"problem_0": sent, "as_0": "no-such-route"}, follow=True)
    said = refused.content.decode()
    assert "“Route 1” cannot be read as “no-such-route”" in said
    assert "The file no longer has the column “No such column”" in said
    assert "An answer did not arrive whole." in said
    sent = json.dumps(["cell", "Temp (F)", "warm", [3]])
    long = client.post(url, {"problem_0": sent, "as_0": "4" * 201}, follow=True)
    assert "“warm” has 201 characters. Shorten it to 200." in long.content.decode()
    row.refresh_from_db()
    assert row.answers.get("fixes", []) == []


def test_a_name_in_the_file_is_somebody_who_is_there(coordinator, observer, client_for, program):
    text = "Route,Date,Stop,Observer,Spring peeper\nR1,2012-04-15,1,R. F.,2\n"
    row = store(coordinator, file_name="x.csv", content=text.encode())
    client = client_for(coordinator)
    here = {"program": program.slug, "upload": row.pk}
    page = client.get(reverse("web:import_preview", kwargs=here))
    assert "1 name is new in this program" in page.content.decode()
    (item,) = page.context["observers"]
    data = {f"problem_{item.number}": item.plain, f"as_{item.number}": observer.person.email}
    client.post(reverse("web:import_fix", kwargs=here), data)
    assert seen(coordinator, row).new_observers == ()
    commit_upload(coordinator, open_upload(coordinator, row.pk))
    assert Visit.objects.get().observer == observer.person


def test_only_coordinators_fix(coordinator, observer, attempt):
    upload = attempt(UGLY).upload
    fix = Fix(column="Route", written="Route 1", becomes="R1")
    for verb in (
        lambda: fix_cells(observer, upload, [fix]),
        lambda: drop_fixes(observer, upload),
        lambda: choose_layout(observer, upload.row, Layout()),
    ):
        with pytest.raises(PermissionDenied):
            verb()


def test_another_sheet_is_chosen_on_the_screen(coordinator, client_for, program):
    book = load_workbook(BytesIO(workbook([["Summary", "by", "year"], ["2012", 3, 4]])))
    sheet = book.create_sheet("Visits")
    for line in (["Route", "Date", "Stop", "Spring peeper"], ["R1", "2012-04-15", 1, 2]):
        sheet.append(line)
    out = BytesIO()
    book.save(out)
    row = store(coordinator, file_name="past.xlsx", content=out.getvalue())
    here = {"program": program.slug, "upload": row.pk}
    client = client_for(coordinator)
    page = client.get(reverse("web:import_columns", kwargs=here)).content.decode()
    assert "The wrong sheet or the wrong column names?" in page
    url = reverse("web:import_layout", kwargs=here)
    bad = client.post(url, {"sheet": "Visits", "names_row": "0", "name_rows": "1"})
    assert bad.status_code == 400
    assert client.post(url, {"sheet": "Visits", "names_row": "1", "name_rows": "1"}).url
    row.refresh_from_db()
    assert [code for _, code in row.columns][:3] == ["route", "night:ymd", "stop"]
    assert seen(coordinator, row).visits == 1
