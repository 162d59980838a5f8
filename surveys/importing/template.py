"""An empty spreadsheet to fill in: every column that is read, the checklist as species."""

import csv
import io
from collections.abc import Sequence

from surveys.importing.fields import FIELDS, Level, fields_of
from surveys.language import gettext
from surveys.models import Program, ProtocolVersion

_FORMULA_STARTS = ("=", "+", "-", "@")
_WIDTH = 18


def headers(program: Program) -> list[str]:
    """Headers that are recognized without any mapping, the same in every language."""
    unit = program.temperature_unit
    fixed = [
        "Route",
        "Date",
        "Observer",
        "Second observer",
        "Stop",
        "Arrival",
        "Start time",
        "End time",
        f"Air temperature ({unit})",
        f"Water temperature ({unit})",
        "Wind (Beaufort)",
        "Sky",
        "Noise",
        "Water level",
        "Skip reason",
        "Stop note",
        f"Rain 48h ({program.rain_unit.value})",
        "Notes",
    ]
    own = [str(field.label) for field in fields_of(program)[len(FIELDS) :]]
    entries = program.checklist.filter(listed_until=None).select_related("species")
    return fixed + own + [entry.species.common_name for entry in entries.order_by("order", "pk")]


def template_csv(program: Program) -> bytes:
    out = io.StringIO(newline="")
    csv.writer(out).writerow([_not_a_formula(header) for header in headers(program)])
    return out.getvalue().encode("utf-8-sig")


def template_xlsx(program: Program) -> bytes:
    """The sheet to fill in, and a sheet that explains the columns."""
    from openpyxl import Workbook  # noqa: PLC0415 - half a second at every start

    book = Workbook()
    sheet = book.active
    sheet.title = gettext("Visits")
    _write(sheet, [headers(program)])
    sheet.freeze_panes = "A2"
    guide = book.create_sheet(gettext("Columns"))
    rows = [[gettext("Column"), gettext("Speaks of"), gettext("How it is written")]]
    rows += [
        [
            str(field.label),
            field.level.told,
            " ".join(filter(None, (_forms(field), str(field.help)))),
        ]
        for field in fields_of(program)
        if field.level is not Level.CALL
    ]
    rows.append([gettext("A species"), gettext("Stop"), _index_help(program)])
    _write(guide, rows)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _index_help(program: Program) -> str:
    help_text = gettext("Call index 0, 1, 2, 3; ? when not sure; - not recorded.")
    versions = ProtocolVersion.objects.filter(protocol__program=program)
    if not versions.exclude(listening_radius_m=None).exists():
        return help_text
    return f"{help_text} {gettext('Write near or far behind it: 2N, 2F.')}"


def _forms(field) -> str:
    return "; ".join(str(form.label) for form in field.forms)


def _write(sheet, rows: Sequence[Sequence[str]]) -> None:
    from openpyxl.styles import Font  # noqa: PLC0415 - as above
    from openpyxl.utils import get_column_letter  # noqa: PLC0415

    for number, row in enumerate(rows, start=1):
        sheet.append([_not_a_formula(text) for text in row])
        if number == 1:
            for position in range(1, len(row) + 1):
                sheet.cell(row=1, column=position).font = Font(bold=True)
                sheet.column_dimensions[get_column_letter(position)].width = _WIDTH


def _not_a_formula(text: str) -> str:
    return f"'{text}" if text.startswith(_FORMULA_STARTS) else text
