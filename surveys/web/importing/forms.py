"""Forms of the import: the file, and what its columns mean."""

from collections.abc import Iterable, Mapping
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy

from accounts.form_errors import Form
from surveys.importing.columns import ASK, IGNORE, SPECIES, near
from surveys.importing.fields import DATES, Field, Level
from surveys.importing.gathered import Answers
from surveys.importing.layout import Layout
from surveys.importing.reading import MOST_BYTES_OF_ARCHIVE
from surveys.importing.uploads import Upload
from surveys.language import gettext, said
from surveys.models import ChecklistEntry, Program
from surveys.web.forms.fields import UploadedFileField

_LAST_NAMES_ROW = 500
_FEWEST_SHEETS = 2
_ZERO, _MISSING = "zero", "missing"
_MEANS = [
    (_ZERO, gettext_lazy("Not heard (0)")),
    (_MISSING, gettext_lazy("Not recorded")),
]


class UploadForm(Form):
    file = UploadedFileField(
        label=gettext_lazy("Spreadsheet"),
        help_text=gettext_lazy("A CSV or XLSX file, up to 50 MB and 250,000 rows."),
        accept=".csv,.tsv,.txt,.xlsx",
        most_bytes=MOST_BYTES_OF_ARCHIVE,
        too_large=gettext_lazy("The file is larger than 50 MB. Split it, for example by year."),
    )


class LayoutForm(Form):
    """Which sheet of a workbook is read, and where its column names stand."""

    sheet = forms.ChoiceField(label=gettext_lazy("Sheet"), required=False)
    names_row = forms.IntegerField(
        label=gettext_lazy("Row of the column names"),
        min_value=1,
        max_value=_LAST_NAMES_ROW,
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
    )
    name_rows = forms.TypedChoiceField(
        label=gettext_lazy("The column names take up"),
        choices=[
            (1, gettext_lazy("This row alone")),
            (2, gettext_lazy("This row and the row above it")),
        ],
        coerce=int,
    )

    def __init__(self, upload: Upload, data: Any = None) -> None:
        table = upload.table
        super().__init__(
            data,
            initial={
                "sheet": table.sheets[0] if table.sheets else "",
                "names_row": table.names_row,
                "name_rows": table.name_rows,
            },
        )
        self.fields["sheet"].choices = [(name, name) for name in table.sheets]
        if len(table.sheets) < _FEWEST_SHEETS:
            del self.fields["sheet"]

    def layout(self) -> Layout:
        """Where nothing but another sheet was chosen, its column names are looked for."""
        typed = self.cleaned_data
        as_shown = all(typed[name] == self.initial[name] for name in ("names_row", "name_rows"))
        if as_shown and typed.get("sheet", "") != self.initial["sheet"]:
            return Layout(sheet=typed["sheet"])
        return Layout(
            sheet=typed.get("sheet", ""),
            names_row=typed["names_row"],
            name_rows=typed["name_rows"],
        )


class ColumnsForm(Form):
    """A choice for each column, named `column_<position>`, and what the file cannot say."""

    blank = forms.ChoiceField(
        label=gettext_lazy("An empty species cell at a surveyed stop means"),
        choices=_MEANS,
        widget=forms.RadioSelect,
    )
    unnamed = forms.ChoiceField(
        label=gettext_lazy("A checklist species that is not in the file was"),
        choices=_MEANS,
        widget=forms.RadioSelect,
        help_text=gettext_lazy("“Not heard” makes every stop in the file a zero."),
    )
    fill_down = forms.BooleanField(
        label=gettext_lazy("An empty route, date or observer is the same as in the row above"),
        required=False,
    )
    leave_out_known = forms.BooleanField(
        label=gettext_lazy("Skip visits that were already imported"), required=False
    )

    def __init__(self, upload: Upload, program: Program, data: Any = None) -> None:
        super().__init__(
            data,
            initial={
                "blank": _ZERO if upload.answers.blank_is_zero else _MISSING,
                "unnamed": _ZERO if upload.answers.unnamed_is_zero else _MISSING,
                "fill_down": upload.answers.fill_down,
                "leave_out_known": upload.leave_out_known,
            },
        )
        self.upload = upload
        choices = meanings(program, upload.species_names, upload.fields)
        for position, (header, choice) in enumerate(
            zip(upload.table.headers, upload.choices, strict=True)
        ):
            self.fields[f"column_{position}"] = forms.ChoiceField(
                label=header, choices=choices, initial=choice.code
            )

    def columns(self) -> list[tuple[forms.BoundField, list[str], bool]]:
        """The field of each column, the first cells that hold something, and whether its species
        is a guess from a name that is only similar."""
        upload = self.upload
        guessed = near(upload.table, upload.choices, upload.catalog)
        return [
            (self[f"column_{position}"], upload.table.first_cells(position), position in guessed)
            for position in range(len(self.upload.table.headers))
        ]

    def explicit(self) -> list[tuple[str, str]]:
        return [
            (header, self.cleaned_data[f"column_{position}"])
            for position, header in enumerate(self.upload.table.headers)
        ]

    def answers(self) -> Answers:
        return Answers(
            blank_is_zero=self.cleaned_data["blank"] == _ZERO,
            unnamed_is_zero=self.cleaned_data["unnamed"] == _ZERO,
            fill_down=self.cleaned_data["fill_down"],
        )


def meanings(
    program: Program, species_names: Mapping[str, str], fields: Iterable[Field]
) -> list[tuple[str, Any]]:
    """Everything a column can mean, in groups."""
    entries = ChecklistEntry.objects.filter(program=program).order_by("order", "pk")
    listed = list(entries.values_list("species__code", flat=True))
    others = sorted(set(species_names) - set(listed), key=lambda code: species_names[code])
    return [
        (IGNORE, gettext("Ignore this column")),
        *((level.told, _of_level(level, fields)) for level in Level),
        (gettext("Species on the checklist"), _species(listed, species_names)),
        (gettext("Other species"), _species(others, species_names)),
    ]


def _of_level(level: Level, fields: Iterable[Field]) -> list[tuple[str, str]]:
    choices: list[tuple[str, str]] = []
    for field in fields:
        if field.level is level:
            choices += _forms_of(field)
    return choices


def _forms_of(field: Field) -> list[tuple[str, str]]:
    if not field.forms:
        return [(field.code, field.label)]
    choices = [
        (f"{field.code}:{form.code}", f"{field.label}: {form.label}") for form in field.forms
    ]
    if field.forms is DATES:
        choices.append(
            (
                f"{field.code}:{ASK}",
                said("{field_label}: day or month first? Please choose", field_label=field.label),
            )
        )
    return choices


def _species(codes: Iterable[str], names: Mapping[str, str]) -> list[tuple[str, str]]:
    return [(SPECIES + code, names[code]) for code in codes]
