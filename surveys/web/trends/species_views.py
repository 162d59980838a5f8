"""One species over the years: picture, sentence, table, method."""

from typing import Any

from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.text import slugify
from django.views.decorators.http import require_GET

from accounts.access import Permission, ProgramRequest, may, needs
from surveys.charts import shares
from surveys.charts.changes import told_effects
from surveys.charts.chart_alt import chart_alt
from surveys.charts.chorus import chorus_sentence
from surveys.charts.needed_effort import needed_sentence
from surveys.charts.sensitivity import by_stop_and_by_route, check_rows, check_sentence
from surveys.charts.water import heard_by_water, lag_sentence
from surveys.charts.whole_program import no_weights, whole_sentence, whole_shares
from surveys.charts.words import (
    all_flags,
    flag_words,
    share,
    sites_in_words,
    trend_line,
    trend_sentence,
)
from surveys.fitting.stored import StoredFit, stored_fits
from surveys.language import gettext, said
from surveys.models import Program, Species
from surveys.protocol.values import TemperatureUnit
from surveys.protocol.words import listed
from surveys.publishing.formats import yearly_csv as csv
from surveys.publishing.method import CAVEATS
from surveys.publishing.tables import SENSITIVITY
from surveys.seasons.options import checklist_species
from surveys.seasons.sightings import sighting_shares
from surveys.trends import CORRECTED_COLUMNS, SpeciesResult
from surveys.trends.result_tables import corrected_row, sensitivity_rows
from surveys.trends.sightings import COLOR_FORM, LIFE_STAGE
from surveys.web.csv_file import csv_file
from surveys.web.guide.species import look_alikes_of
from surveys.web.trends.effects import (
    CAPTIONS,
    covariate_in_words,
    effect_lines,
    effect_sentence,
    fit_words,
    fits_poorly,
    model_tables,
    silent_words,
)
from surveys.web.trends.forms import PlaceFilter
from surveys.web.trends.freshness import freshness
from surveys.web.trends.groups import group_notes
from surveys.web.trends.page import (
    index_rows,
    phenology_words,
    trend_facts,
    turnover_facts,
)
from surveys.web.trends.pictures import picture
from surveys.web.trends.sightings import sighting_rows


@require_GET
@needs(Permission.READ_RESULTS)
def species_page(request: ProgramRequest, code: str) -> HttpResponse:
    program = request.membership.program
    species = _species(program, code)
    form = PlaceFilter(request.GET, program=program)
    fit = _fit(program, species, form)
    context: dict[str, Any] = {
        "species": species,
        "form": form,
        "fit": fit,
        "look_alikes": look_alikes_of(species),
        "may_manage": may(request.membership, Permission.MANAGE),
        "may_review": may(request.membership, Permission.REVIEW),
        "crumbs": [
            {
                "name": gettext("Trends"),
                "url": reverse("web:trends", kwargs={"program": program.slug}),
            },
            {"name": species.name, "url": ""},
        ],
        "groups": group_notes(program, species),
        **freshness(program, [fit] if fit else []),
    }
    if fit is not None:
        result, site = fit.result, form.site_kind
        whole = whole_shares(result)
        context |= {
            "site": site,
            "sites": sites_in_words(site),
            "place": form.place,
            "sentence": trend_sentence(species.name, result, site),
            "cut": shares.has_cut_bars(shares.species_chart(result, site=site, title="")),
            "line": dict(zip(("drawn", "corrected"), trend_line(result), strict=True)),
            "alt": chart_alt(species.name, result, site),
            "flags": flag_words(all_flags(result)),
            "whole": _whole(form, result),
            "years": [(year, whole.get(year.season_year, "")) for year in result.years],
            "has_whole": bool(whole),
            "chorus": chorus_sentence(result),
            "needed": needed_sentence(result),
            "open": next((year.season_year for year in result.years if year.is_open), None),
            "facts": trend_facts(result),
            "turnover": turnover_facts(result),
            "index": index_rows(result),
            "season": phenology_words(result),
            **_seen(program, species, form),
            "effects_of_changes": list(told_effects(result)),
            "water": {"sentence": lag_sentence(result), "rows": list(heard_by_water(result))},
            "effects": {
                "sentence": effect_sentence(result),
                "occupancy": effect_lines(result, "occupancy"),
                "detection": effect_lines(
                    result, "detection", TemperatureUnit(program.temperature_unit)
                ),
                "captions": CAPTIONS,
                "silent": [silent_words(kind, site) for kind in result.trend.silent_kinds],
            },
            "model_tables": model_tables(result),
            "fit_check": fit_words(result.fit_check),
            "fits_poorly": fits_poorly(result.fit_check),
            "filled": listed(
                said("{name} on {share}", name=covariate_in_words(name), share=share(missing))
                for name, missing in result.filled
            ),
            "caveats": list(map(gettext, CAVEATS)),
            "checks": {"sentence": check_sentence(result), "rows": check_rows(result)},
            "disagree": _disagree(program, species, form, result),
            "urls": {
                "picture": _address(
                    "trend_chart", program, species, form, form="svg", of=fit.sha256[:12]
                ),
                "svg": _address("trend_chart", program, species, form, form="svg", download="1"),
                "png": _address("trend_chart", program, species, form, form="png", download="1"),
                "csv": _address("trend_species_csv", program, species, form),
                "checks": _address("trend_species_checks", program, species, form),
            },
        }
    return render(request, "trends/species.html", context)


@require_GET
@needs(Permission.READ_RESULTS)
def chart(request: ProgramRequest, code: str, form: str) -> HttpResponse:
    """The picture of the page with the same query; `download` names it as a file."""
    program = request.membership.program
    species = _species(program, code)
    place = PlaceFilter(request.GET, program=program)
    fit = _fit_or_404(program, species, place)
    where = f", {place.place}" if place.place else ""
    title = f"{species.name}, {program.name}{where}"
    spec = shares.species_spec(shares.species_chart(fit.result, site=fit.site, title=title))
    return picture(request, spec, form, stem=_stem(program, species, place))


@require_GET
@needs(Permission.READ_RESULTS)
def table(request: ProgramRequest, code: str) -> HttpResponse:
    """The corrected years of the page with the same query."""
    program = request.membership.program
    species = _species(program, code)
    place = PlaceFilter(request.GET, program=program)
    fit = _fit_or_404(program, species, place)
    header = [column.name for column in CORRECTED_COLUMNS]
    whole = dict(fit.result.whole.shares) if fit.result.whole else {}
    years = [
        corrected_row(species.scientific_name, year, whole.get(year.season_year))
        for year in fit.result.years
    ]
    stem = _stem(program, species, place)
    rows = [[csv.cell_text(year[name]) for name in header] for year in years]
    return csv_file(csv.to_csv(header, rows), f"{stem}.csv")


@require_GET
@needs(Permission.READ_RESULTS)
def checks(request: ProgramRequest, code: str) -> HttpResponse:
    """The trend and its lines under other choices, with flags."""
    program = request.membership.program
    species = _species(program, code)
    place = PlaceFilter(request.GET, program=program)
    fit = _fit_or_404(program, species, place)
    rows = list(sensitivity_rows(species.scientific_name, place.site_kind, fit.result))
    header = list(SENSITIVITY.header)
    cells = [[csv.cell_text(row[name]) for name in header] for row in rows]
    stem = _stem(program, species, place)
    return csv_file(csv.to_csv(header, cells), f"{stem}-checks.csv")


def _seen(program: Program, species: Species, form: PlaceFilter) -> dict[str, Any]:
    """Color forms and life stages, in the region of the page."""
    shares = list(sighting_shares(program, species))
    return {
        "forms_seen": sighting_rows(shares, COLOR_FORM, form.place),
        "stages_seen": sighting_rows(shares, LIFE_STAGE, form.place),
    }


def _whole(form: PlaceFilter, result: SpeciesResult) -> str:
    """What is told of the whole program beside the trend of the surveyed routes; blank where the
    page is of one region, or there is but one."""
    if form.place or "region" not in form.fields or not result.years:
        return ""
    return whole_sentence(result, form.site_kind) or no_weights()


def _disagree(
    program: Program, species: Species, form: PlaceFilter, result: SpeciesResult
) -> tuple[str, str] | None:
    """The change by stop and by route, where they say different things. The result by stop has
    both, so the page by route asks it."""
    if form.place:
        return None
    if form.site_kind == "stop":
        return by_stop_and_by_route(result)
    by_stop = stored_fits(program, species=[species], site="stop")
    return by_stop_and_by_route(by_stop[0].result) if by_stop else None


def _species(program: Program, code: str) -> Species:
    for species in checklist_species(program):
        if species.code == code:
            return species
    raise Http404(gettext("This species is not on the checklist."))


def _fit(program: Program, species: Species, form: PlaceFilter) -> StoredFit | None:
    fits = stored_fits(program, species=[species], site=form.site_kind, region=form.place)
    return fits[0] if fits else None


def _fit_or_404(program: Program, species: Species, form: PlaceFilter) -> StoredFit:
    fit = _fit(program, species, form)
    if fit is None:
        raise Http404(gettext("There is no fit of this species yet."))
    return fit


def _address(name: str, program: Program, species: Species, place: PlaceFilter, **more: str) -> str:
    kwargs = {"program": program.slug, "code": species.code}
    if "form" in more:
        kwargs["form"] = more.pop("form")
    region = {"region": place.place} if place.place else {}
    query = {"site": place.site_kind, **region, **more}
    return reverse(f"web:{name}", kwargs=kwargs, query=query)


def _stem(program: Program, species: Species, form: PlaceFilter) -> str:
    parts = (program.slug, species.code, form.site_kind, slugify(form.place))
    return "-".join(part for part in parts if part)
