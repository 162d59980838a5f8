"""Species, regions or routes side by side."""

from dataclasses import dataclass
from typing import Any

from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_GET

from accounts.access import Permission, ProgramRequest, may, needs
from surveys.charts import shares
from surveys.charts.shares import Series
from surveys.charts.words import flags_in_words, share, sites_in_words
from surveys.fitting.stored import StoredFit, stored_fits
from surveys.language import gettext, gettext_noop, said
from surveys.models import Program
from surveys.seasons.route_years import route_years
from surveys.web.trends.forms import MOST_SERIES, CompareFilter
from surveys.web.trends.freshness import freshness
from surveys.web.trends.page import comparison_row, fit_series, route_series
from surveys.web.trends.pictures import picture

EVERYWHERE = gettext_noop("All regions")


@dataclass(frozen=True, kw_only=True)
class Comparison:
    """`fits` stand beside `series`, None for a series that has no fit (a route)."""

    title: str
    site: str
    series: tuple[Series, ...]
    fits: tuple[StoredFit | None, ...]

    @property
    def stored(self) -> list[StoredFit]:
        return [fit for fit in self.fits if fit is not None]


@require_GET
@needs(Permission.READ_RESULTS)
def compare(request: ProgramRequest) -> HttpResponse:
    program = request.membership.program
    form = _form(request)
    comparison = _comparison(program, form)
    by_route = form.compared == "route"
    context: dict[str, Any] = {
        "form": form,
        "title": comparison.title,
        "by": form.compared,
        "sites": sites_in_words(comparison.site),
        "most": MOST_SERIES,
        "crumbs": [
            {
                "name": gettext("Trends"),
                "url": reverse("web:trends", kwargs={"program": program.slug}),
            },
            {"name": gettext("Compare"), "url": ""},
        ],
        "rows": [
            comparison_row(
                series,
                fit.result.trend.occupancy if fit else None,
                flags_in_words(fit.result.trend.occupancy.flags) if fit else "",
            )
            for series, fit in zip(comparison.series, comparison.fits, strict=True)
        ],
        "alt": _alt(comparison),
        "urls": {
            name: _chart_url(program, request, form="svg" if name == "picture" else name)
            for name in ("picture", "svg", "png")
        },
    }
    if not by_route:
        context |= freshness(program, comparison.stored)
    return render(request, "trends/compare.html", context)


@require_GET
@needs(Permission.READ_RESULTS)
def chart(request: ProgramRequest, form: str) -> HttpResponse:
    program = request.membership.program
    comparison = _comparison(program, _form(request))
    if not comparison.series:
        raise Http404(gettext("There is nothing to draw."))
    sites = sites_in_words(comparison.site)
    spec = shares.comparison_spec(comparison.title, sites, comparison.series)
    return picture(request, spec, form, stem=f"{program.slug}-compare")


def _form(request: ProgramRequest) -> CompareFilter:
    return CompareFilter(
        request.GET,
        program=request.membership.program,
        # Where a route lies is for those who read the seasons.
        with_routes=may(request.membership, Permission.READ_SEASONS),
    )


def _comparison(program: Program, form: CompareFilter) -> Comparison:
    species = [form.checklist[code] for code in form.chosen("species") if code in form.checklist]
    if not species:
        return Comparison(title="", site="stop", series=(), fits=())
    if form.compared == "route":
        return _routes(program, form)
    if form.compared == "region":
        fits = stored_fits(program, species=species[:1], site=form.site_kind, region=None)
        names = [fit.region or gettext(EVERYWHERE) for fit in fits][:MOST_SERIES]
        title = said("{name} by region", name=species[0].name)
    else:
        chosen = {chosen_species.pk for chosen_species in species[:MOST_SERIES]}
        fits = [
            fit
            for fit in stored_fits(program, species=species, site=form.site_kind, region=form.place)
            if fit.species.pk in chosen
        ]
        names = [fit.species.name for fit in fits]
        title = form.place or program.name
    fits = fits[: len(names)]
    return Comparison(
        title=title,
        site=form.site_kind,
        series=tuple(fit_series(fit, name) for fit, name in zip(fits, names, strict=True)),
        fits=tuple(fits),
    )


def _routes(program: Program, form: CompareFilter) -> Comparison:
    """Naive shares: the stops of one route are too few to correct for detection."""
    species = form.checklist[form.chosen("species")[0]]
    chosen = form.chosen("route")[:MOST_SERIES]
    series = tuple(
        route_series(
            f"{row.code} {row.name}",
            [
                (cell.season_year, cell.stops_detected, cell.stops_listened)
                for cell in row.cells
                if cell is not None and cell.stops_listened
            ],
        )
        for row in route_years(program, species=species).rows
        if row.code in chosen
    )
    return Comparison(
        title=said("{species_name} by route, not corrected", species_name=species.name),
        site="stop",
        series=series,
        fits=(None,) * len(series),
    )


def _chart_url(program: Program, request: ProgramRequest, *, form: str) -> str:
    path = reverse("web:trend_compare_chart", kwargs={"program": program.slug, "form": form})
    query = request.GET.urlencode()
    return f"{path}?{query}" if query else path


def _alt(comparison: Comparison) -> str:
    parts = []
    for series in comparison.series:
        known = [point for point in series.points if point.value is not None]
        if known:
            first, last = known[0], known[-1]
            parts.append(
                said(
                    "{series_name}: {share} in {year}, {share_2} in {year_2}.",
                    series_name=series.name,
                    share=share(first.value),
                    year=first.year,
                    share_2=share(last.value),
                    year_2=last.year,
                )
            )
    return said(
        "Share of {comparison} in each season. ", comparison=sites_in_words(comparison.site)
    ) + " ".join(parts)
