"""Forms of the import, without a database."""

from types import SimpleNamespace

import pytest

from surveys.importing.layout import Layout
from surveys.importing.table import Table
from surveys.web.importing.forms import LayoutForm

SHOWN = Table(headers=("Old notes",), rows=(), sheets=("Notes", "Visits"), names_row=1)


@pytest.mark.parametrize(
    ("typed", "layout"),
    [
        ({"sheet": "Visits"}, Layout(sheet="Visits")),
        ({"sheet": "Visits", "names_row": "4"}, Layout(sheet="Visits", names_row=4, name_rows=1)),
        ({"name_rows": "2"}, Layout(sheet="Notes", names_row=1, name_rows=2)),
        ({}, Layout(sheet="Notes", names_row=1, name_rows=1)),
    ],
)
def test_another_sheet_has_its_column_names_elsewhere(typed, layout):
    shown = {"sheet": "Notes", "names_row": "1", "name_rows": "1"}
    form = LayoutForm(SimpleNamespace(table=SHOWN), shown | typed)
    assert form.is_valid()
    assert form.layout() == layout
