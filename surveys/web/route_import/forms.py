"""Forms of bringing routes in: the file, its columns, what it cannot say, and one route."""

from collections.abc import Sequence
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy

from accounts.form_errors import Form
from surveys.importing.places.columns import IGNORE, MEANINGS
from surveys.importing.places.edits import ROUTE_TEXTS, STOP_TEXTS
from surveys.importing.reading import MOST_BYTES
from surveys.importing.table import Table
from surveys.language import gettext, said
from surveys.models import Protocol, RouteChoice
from surveys.programs.route_plan import Elsewhere, PlanOptions
from surveys.web.forms.fields import DateField, UploadedFileField

STOPS_ON_A_PAGE = 100


class UploadForm(Form):
    file = UploadedFileField(
        label=gettext_lazy("File with routes and stops"),
        help_text=gettext_lazy(
            "GPX, KML, KMZ, GeoJSON, a zipped shapefile, GeoPackage, CSV or XLSX, up to 10 MB."
        ),
        accept=".gpx,.kml,.kmz,.geojson,.json,.zip,.gpkg,.csv,.tsv,.txt,.xlsx",
        most_bytes=MOST_BYTES,
        too_large=gettext_lazy("The file is larger than 10 MB. Split it, for example by region."),
    )


class ColumnsForm(Form):
    """A choice for each column, named `column_<position>`."""

    def __init__(self, table: Table, codes: Sequence[str], data: Any = None) -> None:
        super().__init__(data)
        self.table = table
        choices = [
            (IGNORE, gettext("Ignore this column")),
            *((meaning.code, meaning.label) for meaning in MEANINGS),
        ]
        for position, (header, code) in enumerate(zip(table.headers, codes, strict=True)):
            self.fields[f"column_{position}"] = forms.ChoiceField(
                label=header, choices=choices, initial=code
            )

    def columns(self) -> list[tuple[forms.BoundField, list[str], bool]]:
        """The field of each column with the first cells that hold something; none is a species
        that is guessed, as in the table of past visits, which shows these, too."""
        return [
            (self[f"column_{position}"], self.table.first_cells(position), False)
            for position in range(len(self.table.headers))
        ]

    def codes(self) -> list[str]:
        return [
            self.cleaned_data[f"column_{position}"] for position in range(len(self.table.headers))
        ]


class OptionsForm(Form):
    """What the file does not say."""

    protocol = forms.TypedChoiceField(label=gettext_lazy("Protocol of the new routes"), coerce=int)
    first_night = DateField(
        label=gettext_lazy("First night of the new stops"),
        help_text=gettext_lazy(
            "The stops can be surveyed from this night on. If you will import past visits, give "
            "the night of the first one."
        ),
    )
    chosen = forms.ChoiceField(
        label=gettext_lazy("How the new routes were chosen"),
        choices=RouteChoice.choices,
    )
    elsewhere = forms.ChoiceField(
        label=gettext_lazy("Stops with visits whose location in the file is different"),
        choices=[
            (Elsewhere.ASK.value, gettext_lazy("Choose one")),
            (Elsewhere.KEEP.value, gettext_lazy("Keep the present location")),
            (
                Elsewhere.CORRECT.value,
                gettext_lazy("The present location was mistyped: correct it, visits included"),
            ),
            (
                Elsewhere.MOVE.value,
                gettext_lazy("The stop has moved: a new stop from the first night on"),
            ),
        ],
    )
    reason = forms.CharField(
        label=gettext_lazy("Why they are corrected or have moved"), required=False, max_length=300
    )

    def __init__(
        self, options: PlanOptions, protocols: Sequence[Protocol], data: Any = None
    ) -> None:
        initial = {
            "protocol": options.protocol_id,
            "first_night": options.first_night,
            "chosen": options.chosen,
            "elsewhere": options.elsewhere.value,
            "reason": options.reason,
        }
        super().__init__(data, initial=initial)
        self.fields["protocol"].choices = [(one.pk, one.name) for one in protocols]

    def options(self) -> PlanOptions:
        cleaned = self.cleaned_data
        return PlanOptions(
            protocol_id=cleaned["protocol"],
            first_night=cleaned["first_night"],
            chosen=cleaned["chosen"],
            elsewhere=Elsewhere(cleaned["elsewhere"]),
            reason=cleaned["reason"],
        )


class RouteForm(Form):
    """One route of a draft and a page of its stops, each text in a field of its own. Nothing is
    refused here: what is wrong is said beside it."""

    code = forms.CharField(required=False, max_length=200, label=gettext_lazy("Code"))
    name = forms.CharField(required=False, max_length=300, label=gettext_lazy("Name"))
    region = forms.CharField(required=False, max_length=300, label=gettext_lazy("Region"))
    stratum = forms.CharField(required=False, max_length=300, label=gettext_lazy("Stratum"))
    left_out = forms.BooleanField(required=False, label=gettext_lazy("Skip this route"))
    revision = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(
        self, route: dict[str, Any], revision: int, shown: range, data: Any = None
    ) -> None:
        initial = {name: route.get(name, "") for name in (*ROUTE_TEXTS, "left_out")}
        super().__init__(data, initial=initial | {"revision": revision})
        self.shown = shown
        for position in shown:
            stop = route["stops"][position]
            for name in STOP_TEXTS:
                self.fields[f"stop_{position}_{name}"] = forms.CharField(
                    label=LABELS[name],
                    required=False,
                    max_length=2_000,
                    initial=stop[name],
                    widget=forms.TextInput(
                        attrs={
                            "aria-label": said(
                                "{field}, row {row} of the file",
                                field=LABELS[name],
                                row=stop["row"],
                            ),
                            "autocomplete": "off",
                        }
                    ),
                )
            self.fields[f"stop_{position}_left_out"] = forms.BooleanField(
                required=False,
                initial=stop["left_out"],
                widget=forms.CheckboxInput(
                    attrs={"aria-label": said("Skip row {row}", row=stop["row"])}
                ),
            )

    def texts(self) -> dict[str, Any]:
        return {name: self.cleaned_data[name] for name in (*ROUTE_TEXTS, "left_out")}

    def stops(self) -> dict[int, dict[str, Any]]:
        return {
            position: {
                name: self.cleaned_data[f"stop_{position}_{name}"]
                for name in (*STOP_TEXTS, "left_out")
            }
            for position in self.shown
        }


LABELS = {
    "number": gettext_lazy("Number"),
    "name": gettext_lazy("Name"),
    "latitude": gettext_lazy("Latitude"),
    "longitude": gettext_lazy("Longitude"),
    "road": gettext_lazy("Nearest road"),
    "county": gettext_lazy("County"),
}
