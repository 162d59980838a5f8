"""The area of the program: drawn on the map, typed, or taken from a file."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods

from accounts.access import Permission, ProgramRequest, needs
from accounts.form_errors import Form
from surveys.importing.places.outlines import read_outlines
from surveys.importing.problems import UnreadableFileError
from surveys.importing.reading import MOST_BYTES
from surveys.language import gettext, said
from surveys.models import Program, ProgramArea
from surveys.programs import area as verbs
from surveys.protocol.values import DistanceUnit
from surveys.web.forms.fields import UploadedFileField
from surveys.web.forms.refusals import run_verb
from surveys.web.forms.seen import SeenForm
from surveys.web.maps import area_feature, stop_feature
from surveys.web.program.route_forms import points_field
from surveys.web.program.route_views import stops_around


class OutlineForm(SeenForm):
    points = points_field(
        label=gettext_lazy("Corners of the area"),
        help_text=gettext_lazy(
            "One corner per line, latitude and longitude: 43.07310, -89.40120. Leave empty to "
            "remove the area."
        ),
    )


class AreaFileForm(Form):
    file = UploadedFileField(
        label=gettext_lazy("File with the area"),
        help_text=gettext_lazy(
            "KML, KMZ, GeoJSON, a zipped shapefile or GeoPackage with polygons, up to 10 MB. All "
            "its areas together become the program area."
        ),
        accept=".kml,.kmz,.geojson,.json,.zip,.gpkg",
        most_bytes=MOST_BYTES,
        too_large=gettext_lazy("The file is larger than 10 MB. Simplify the area, and send that."),
    )


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def area(request: ProgramRequest) -> HttpResponse:
    program = request.membership.program
    shown = verbs.area_of(program)
    sent_file = request.method == "POST" and "from_file" in request.POST
    outline = OutlineForm(
        request.POST if request.method == "POST" and not sent_file else None,
        initial={"points": verbs.outline_text(shown)},
    )
    outline.show(verbs.area_facts(shown))
    file = AreaFileForm(request.POST, request.FILES) if sent_file else AreaFileForm()
    if request.method == "POST":
        saved = _from_file(request, file) if sent_file else _drawn(request, outline)
        if saved:
            return redirect("web:program_area", program=program.slug)
    context = {
        "section": "routes",
        "area": shown,
        "area_size": verbs.area_in_words(shown) if shown else "",
        "form": outline,
        "file_form": file,
        "outside": _outside(program) if shown else [],
        "map_data": _map(program, shown),
    }
    status = 400 if outline.errors or file.errors else 200
    return render(request, "program/area.html", context, status=status)


def _drawn(request: ProgramRequest, form: OutlineForm) -> bool:
    """Whether it was saved."""
    if not form.is_valid():
        return False
    saved = run_verb(form, _draw, request.membership, form)
    if saved:
        messages.success(request, saved)
    return bool(saved)


def _draw(member: object, form: OutlineForm) -> str:
    if verbs.draw_area(member, points=form.cleaned_data["points"], seen=form.seen):
        return gettext("The program area is saved.")
    return gettext("The program has no area now.")


def _from_file(request: ProgramRequest, form: AreaFileForm) -> bool:
    if not form.is_valid():
        return False
    file = form.cleaned_data["file"]
    try:
        outlines = read_outlines(file.read())
    except UnreadableFileError as error:
        form.add_error("file", str(error))
        return False
    saved = run_verb(
        form, verbs.take_area_from_file, request.membership, outlines, file_name=file.name
    )
    if saved:
        messages.success(request, said("The area of “{file}” is saved.", file=saved.file_name))
    return bool(saved)


def _outside(program: Program) -> list[tuple[int, str]]:
    """Key and sentence of each route that lies outside."""
    unit = DistanceUnit(program.distance_unit)
    found = verbs.present_routes_outside(program)
    codes = dict(program.routes.filter(pk__in=found).values_list("pk", "code"))
    return [(key, verbs.outside_in_words(codes[key], one, unit)) for key, one in found.items()]


def _map(program: Program, shown: ProgramArea | None) -> dict[str, object]:
    """The stops; and the area, where it is not drawn by the module that changes it."""
    features = [
        stop_feature(stop, lines=[said("Route {route}", route=stop.route)])
        for stop in stops_around(program)
    ]
    if shown and not verbs.outline_text(shown):
        features.insert(0, area_feature(shown))
    return {"type": "FeatureCollection", "features": features}
