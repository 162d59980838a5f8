"""The screens of the import: file, columns, preview, commit."""

import io

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import CommandError, call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from openpyxl import load_workbook

from accounts.models import Role
from surveys.importing.columns import (
    IGNORE,
    guess,
)
from surveys.importing.reading import read_table
from surveys.importing.template import (
    headers,
    template_csv,
    template_xlsx,
)
from surveys.models import (
    SpreadsheetImport,
    Visit,
    VisitState,
)
from surveys.visits.bulk import program_snapshot
from tests.support.builders import (
    make_checklist,
    make_member,
    make_program,
    make_route,
    make_version,
)

pytestmark = pytest.mark.django_db

GOOD = "Route,Date,Stop,Start time,End time,Temp,Pseudacris crucifer\n"
ROWS = "R1,4/15/2024,1,9:14 pm,9:19 pm,48,3\nR1,4/15/2024,2,9:30 pm,9:35 pm,47,0\n"


@pytest.fixture
def client(program, coordinator, client_for):
    version = make_version(program)
    make_route(program, version=version, code="R1")
    make_checklist(program, "Pseudacris crucifer", "Lithobates sylvaticus")
    return client_for(coordinator)


def address(name, program, **kwargs):
    return reverse(f"web:{name}", kwargs={"program": program.slug, **kwargs})


def upload(client, program, text=GOOD + ROWS, name="past.csv"):
    content = text.encode() if isinstance(text, str) else text
    return client.post(
        address("import_start", program), {"file": SimpleUploadedFile(name, content)}
    )


def test_where_nothing_is_known_the_sheet_and_its_names_are_asked_for(client, program):
    def opened(text):
        page = client.get(upload(client, program, text).url)
        return page.content.decode().count('<details class="import-apart" open>')

    assert opened("Alpha,Beta\nold,cold\nolder,colder\n") == 1
    assert opened(GOOD + ROWS) == 0


def chosen(client, url, **changes):
    """The values of the form as the page shows them, with changes."""
    form = client.get(url).context["form"]
    values = {name: form[name].value() for name in form.fields}
    return {name: value for name, value in (values | changes).items() if value not in (None, False)}


def test_from_file_to_review(client, program, coordinator):
    response = upload(client, program)
    row = SpreadsheetImport.objects.get()
    columns = address("import_columns", program, upload=row.pk)
    assert response.url == columns
    page = client.get(columns).content.decode()
    assert "R1" in page
    assert "9:14 pm" in page
    form = chosen(client, columns)
    assert form["column_1"] == "night:mdy"
    assert form["column_6"] == "species:pseudacris-crucifer"
    response = client.post(columns, form | {"column_5": "air_temperature:F"})
    preview = address("import_preview", program, upload=row.pk)
    assert response.url == preview
    page = client.get(preview).content.decode()
    assert "Ready to import" in page
    assert "Lithobates sylvaticus" in page
    assert not Visit.objects.exists()

    response = client.post(address("import_commit", program, upload=row.pk), follow=True)
    assert "One visit was imported" in response.content.decode()
    visit = Visit.objects.get()
    assert visit.state == VisitState.SUBMITTED
    assert visit.periods.get(stop__number=1).air_temperature_unit == "F"

    response = client.post(address("import_commit", program, upload=row.pk), follow=True)
    assert "imported already" in response.content.decode()
    assert Visit.objects.count() == 1
    assert client.get(columns).url == preview
    client.post(address("import_discard", program, upload=row.pk))
    assert SpreadsheetImport.objects.count() == 1


def test_problems_are_shown_with_row_and_column_and_nothing_is_lost(client, program):
    upload(client, program, GOOD + ROWS.replace(",2,9:30", ",x,9:30"))
    row = SpreadsheetImport.objects.get()
    preview = address("import_preview", program, upload=row.pk)
    response = client.get(preview)
    assert "Not ready yet" in response.content.decode()
    assert [(p.row, p.column) for p in response.context["seen"].problems] == [(3, "Stop")]
    response = client.post(address("import_commit", program, upload=row.pk), follow=True)
    assert "Nothing was imported" in response.content.decode()
    assert not Visit.objects.exists()
    assert SpreadsheetImport.objects.filter(pk=row.pk).exists()


def test_dates_are_asked_about(client, program):
    upload(client, program, GOOD + ROWS.replace("4/15", "4/5"))
    row = SpreadsheetImport.objects.get()
    columns = address("import_columns", program, upload=row.pk)
    page = client.get(columns).content.decode()
    assert "Say whether the day or the month comes first" in page
    preview = client.get(address("import_preview", program, upload=row.pk)).content.decode()
    asked = preview[preview.index('id="problems-h"') : preview.index("Use these answers")]
    assert f'href="{columns}"' in asked
    client.post(columns, chosen(client, columns) | {"column_1": "night:dmy"})
    seen = client.get(address("import_preview", program, upload=row.pk)).context["seen"]
    assert seen.nights == "4 May 2024"


@pytest.mark.parametrize(
    ("content", "words"),
    [(b"", "empty"), (b"PK\x03\x04", "not a workbook"), (b"Route\n", "nothing to import")],
)
def test_files_that_cannot_be_read(client, program, content, words):
    response = upload(client, program, content)
    assert response.status_code == 400
    assert words in response.content.decode()
    assert not SpreadsheetImport.objects.exists()


def test_no_file(client, program):
    response = client.post(address("import_start", program), {})
    assert response.status_code == 400
    assert response.context["form"].errors["file"]


def test_a_meaning_that_is_none_keeps_the_others(client, program):
    upload(client, program)
    row = SpreadsheetImport.objects.get()
    columns = address("import_columns", program, upload=row.pk)
    response = client.post(columns, chosen(client, columns) | {"column_0": "nonsense"})
    assert response.status_code == 400
    row.refresh_from_db()
    assert row.columns[0] == ["Route", "route"]


def test_cells_are_escaped(client, program):
    hostile = "<script>alert(1)</script>"
    upload(client, program, f"{GOOD[:-1]},{hostile}\n{ROWS[:-1]},{hostile}\n", name=hostile)
    row = SpreadsheetImport.objects.get()
    for name in ("import_columns", "import_preview"):
        assert hostile not in client.get(address(name, program, upload=row.pk)).content.decode()
    assert hostile not in client.get(address("import_start", program)).content.decode()


@pytest.mark.parametrize("role", [Role.OBSERVER, Role.PARTNER])
def test_only_those_who_set_up_the_program(client, client_for, program, role):
    upload(client, program)
    row = SpreadsheetImport.objects.get()
    other = client_for(make_member(program, role))
    stranger = client_for(make_member(make_program(), Role.COORDINATOR))
    for name, kwargs in (
        ("import_start", {}),
        ("import_template", {"kind": "csv"}),
        ("import_columns", {"upload": row.pk}),
        ("import_preview", {"upload": row.pk}),
    ):
        url = address(name, program, **kwargs)
        assert other.get(url).status_code == 403, name
        assert stranger.get(url).status_code == 404, name
    for name in ("import_commit", "import_discard"):
        url = address(name, program, upload=row.pk)
        assert other.post(url).status_code == 403
        assert stranger.post(url).status_code == 404
        assert client.get(url).status_code == 405


def test_an_upload_of_another_program_is_not_there(client, client_for, program):
    upload(client, program)
    row = SpreadsheetImport.objects.get()
    other = make_member(make_program(), Role.COORDINATOR)
    url = address("import_preview", other.program, upload=row.pk)
    assert client_for(other).get(url).status_code == 404


@pytest.mark.parametrize(("unit", "header"), [("F", "Rain 48h (in)"), ("C", "Rain 48h (mm)")])
def test_the_template_asks_for_rain_in_the_programs_unit(program, unit, header):
    program.temperature_unit = unit
    assert header in headers(program)


def test_every_column_of_the_template_is_recognized(client, program):
    book = load_workbook(io.BytesIO(template_xlsx(program)))
    assert [cell.value for cell in book["Visits"][1]] == headers(program)
    table = read_table(template_csv(program) + b"R1,2024-04-15\n")
    assert list(table.headers) == headers(program)
    choices = guess(
        table,
        catalog=program_snapshot(program).catalog,
        temperature_unit=program.temperature_unit,
    )
    codes = [choice.code for choice in choices]
    assert IGNORE not in codes
    assert codes[-2:] == ["species:pseudacris-crucifer", "species:lithobates-sylvaticus"]


def test_an_unfilled_template_says_so(client, program):
    response = upload(client, program, template_xlsx(program), name="visits.xlsx")
    assert response.status_code == 400
    assert "nothing to import" in response.content.decode()


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_template_download(client, program, kind):
    response = client.get(address("import_template", program, kind=kind))
    assert response.status_code == 200
    assert f"visits-{program.slug}.{kind}" in response["Content-Disposition"]


def test_no_such_template(client, program):
    assert client.get(address("import_template", program, kind="ods")).status_code == 404


def test_list_page_does_not_read_the_files(client, program):
    for number in range(3):
        upload(client, program, GOOD + ROWS, name=f"{number}.csv")
    url = address("import_start", program)
    client.get(url)
    with CaptureQueriesContext(connection) as queries:
        assert client.get(url).status_code == 200
    assert len(queries) <= 5
    assert not any('"content"' in query["sql"] for query in queries)


# --- The command -----------------------------------------------------------------


def run(tmp_path, program, coordinator, text, *options):
    path = tmp_path / "past.csv"
    path.write_text(text)
    out = io.StringIO()
    call_command(
        "import_visits",
        program.slug,
        str(path),
        f"--as={coordinator.person.email}",
        *options,
        stdout=out,
    )
    return out.getvalue()


def test_command_checks_then_imports(client, tmp_path, program, coordinator):
    text = GOOD + ROWS
    out = run(tmp_path, program, coordinator, text, "--map=Temp=air_temperature:F")
    assert "Add --commit" in out
    assert not Visit.objects.exists()
    assert not SpreadsheetImport.objects.exists()
    options = ("--map=Temp=air_temperature:F", "--unnamed=zero", "--commit")
    assert "Imported: 1 visits, 2 stops" in run(tmp_path, program, coordinator, text, *options)
    assert Visit.objects.get().periods.count() == 2
    with pytest.raises(CommandError, match="Nothing was imported"):
        run(tmp_path, program, coordinator, text, *options)
    assert SpreadsheetImport.objects.count() == 1


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--map=Temp"], "not of the form"),
        (["--map=Warmth=air_temperature:F"], "no column “Warmth”"),
        (["--map=Temp=warmth"], "not a field"),
    ],
)
def test_command_says_what_is_wrong(client, tmp_path, program, coordinator, options, words):
    with pytest.raises(CommandError, match=words):
        run(tmp_path, program, coordinator, GOOD + ROWS, *options)
    assert not SpreadsheetImport.objects.exists()


def test_command_needs_a_coordinator(client, tmp_path, program, observer):
    with pytest.raises(CommandError, match="role"):
        run(tmp_path, program, observer, GOOD + ROWS)
    with pytest.raises(CommandError, match="not a member"):
        call_command("import_visits", program.slug, "x.csv", "--as=nobody@example.org")
