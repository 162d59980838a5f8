"""Trends: species × season year, and the same table as a file."""

from collections.abc import Sequence
from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.text import slugify
from django.views.decorators.http import require_GET

from accounts.access import Permission, ProgramRequest, may, needs
from surveys.charts.together import community_words
from surveys.charts.words import change_with_interval, flag_words
from surveys.fitting.stored import StoredFit, stored_fits
from surveys.language import gettext
from surveys.models import Program
from surveys.publishing.formats import yearly_csv as csv
from surveys.publishing.method import CAVEATS
from surveys.seasons.options import checklist_species, regions
from surveys.seasons.yearly import yearly_table
from surveys.trends.columns import COLUMNS
from surveys.trends.community import community_of
from surveys.trends.estimates import FLAGS
from surveys.web.csv_file import csv_file
from surveys.web.seasons.forms import Filters, TableFilter
from surveys.web.trends.freshness import freshness
from surveys.web.trends.page import glance_rows, small_multiples
from surveys.web.trends.yearly import heading, live_rows, page_of_rows, table_context


@require_GET
@needs(Permission.READ_RESULTS)
def trends(request: ProgramRequest) -> HttpResponse:
    program = request.membership.program
    form = TableFilter(request.GET, program=program)
    filters = form.filters
    rows = yearly_table(program, **filters.narrowing())
    page = page_of_rows(request, rows)
    glance = _glance(program, filters)
    flagged = {flag for row in rows for flag in row.flags}
    flagged |= {flag for row in glance["glance"] for flag in row["flags"]}
    return render(
        request,
        "trends/trends.html",
        {
            "form": form,
            "may_review": may(request.membership, Permission.REVIEW),
            **glance,
            **table_context(csv.HEADER, live_rows(page), common_names(program)),
            "page_obj": page,
            "meanings": [(heading(column.name), gettext(column.meaning)) for column in COLUMNS],
            "flags": flag_words(flag for flag in FLAGS if flag in flagged),
            "caveats": list(map(gettext, CAVEATS)),
            "query": _query_of_file(request),
        },
    )


def _query_of_file(request: ProgramRequest) -> str:
    """The filters of the page, for the file, which has the rows of all pages."""
    query = request.GET.copy()
    query.pop("page", None)
    return query.urlencode()


@require_GET
@needs(Permission.READ_RESULTS)
def trends_csv(request: ProgramRequest) -> HttpResponse:
    """Exactly the table of the page with the same query string."""
    program = request.membership.program
    filters = TableFilter(request.GET, program=program).filters
    text = csv.table_csv(yearly_table(program, **filters.narrowing()))
    return csv_file(text, f"{file_stem(program.slug, filters)}.csv")


@require_GET
@needs(Permission.READ_RESULTS)
def trends_dictionary(request: ProgramRequest) -> HttpResponse:
    return csv_file(csv.dictionary_csv(), "yearly-table-dictionary.csv")


def _glance(program: Program, filters: Filters) -> dict[str, Any]:
    """What is fitted of each species, with a link to its page."""
    place = _fitted_region(program, filters)
    wanted = [filters.species] if filters.species else checklist_species(program)
    fits = stored_fits(program, species=wanted, region=place)

    def address(fit: StoredFit) -> str:
        return reverse(
            "web:trend_species",
            kwargs={"program": program.slug, "code": fit.species.code},
            query={"region": place} if place else None,
        )

    return {
        "glance": glance_rows(fits, address),
        "small": small_multiples(fits, address),
        **_together(fits),
        **freshness(program, fits, complete=len(fits) == len(wanted)),
    }


def _together(fits: Sequence[StoredFit]) -> dict[str, Any]:
    """The species of the program together: a sentence, and trends pulled toward each other."""
    community = community_of(
        [(fit.species.common_name, fit.result.trend.occupancy) for fit in fits]
    )
    return {
        "together": community_words(community),
        "shrunken": [
            (
                one.species,
                change_with_interval(one.own),
                change_with_interval(one.shrunken),
                f"{100 * one.discovery:.0f}%",
            )
            for one in (community.species if community else ())
        ],
    }


def _fitted_region(program: Program, filters: Filters) -> str:
    """With one region, all regions together are that region, and no fit of its own is kept."""
    return filters.region if filters.region and len(regions(program)) > 1 else ""


def common_names(program: Program) -> dict[str, str]:
    """Common names by scientific name, of every species that was ever on the checklist."""
    return {species.scientific_name: species.name for species in checklist_species(program)}


def file_stem(slug: str, filters: Filters) -> str:
    """A name that says which part of the table the file holds."""
    parts = [
        f"{slug}-yearly-table",
        filters.species.code if filters.species else "",
        slugify(filters.region or ""),
        f"from-{filters.first_year}" if filters.first_year else "",
        f"to-{filters.last_year}" if filters.last_year else "",
    ]
    return "-".join(part for part in parts if part)
