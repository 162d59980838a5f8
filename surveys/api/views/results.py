"""Seasons and trends."""

import dataclasses
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.access import Permission, may
from surveys.api.base import ProgramView
from surveys.api.describing import ERRORS
from surveys.api.serializers.results import (
    CommunitySerializer,
    CoverageFilterSerializer,
    CoverageSerializer,
    ResultFilterSerializer,
    RouteYearsSerializer,
    SightingFilterSerializer,
    SightingShareRowSerializer,
    SpeciesTrendFilterSerializer,
    SpeciesTrendsSerializer,
    TrendsSerializer,
)
from surveys.charts.changes import effect_sentence
from surveys.charts.chorus import chorus_sentence
from surveys.charts.sensitivity import check_sentence
from surveys.charts.water import lag_sentence
from surveys.charts.whole_program import whole_sentence
from surveys.charts.words import trend_sentence
from surveys.fitting.stored import StoredFit, stored_fits
from surveys.language import said
from surveys.models import SiteKind, Species
from surveys.publishing.reading import published_null_runs
from surveys.publishing.stops import named_routes, shared_stops
from surveys.seasons.coverage import CoverageTable, coverage
from surveys.seasons.options import checklist_species, regions
from surveys.seasons.route_years import route_years
from surveys.seasons.sightings import sighting_shares
from surveys.seasons.yearly import yearly_table
from surveys.trends.columns import COLUMNS
from surveys.trends.community import community_of
from surveys.trends.estimates import FLAGS
from surveys.trends.result_tables import occupancy_rows, sensitivity_rows, trend_row
from surveys.trends.sighting_tables import sighting_share_row
from surveys.trends.table import row_values
from surveys.trends.water_tables import change_effect_row, water_and_calls_row


class _Results(ProgramView):
    filter_serializer = ResultFilterSerializer

    def filters(self) -> dict[str, Any]:
        """The filters as the tables take them, with the species as a model instance."""
        filters = super().filters()
        if "species" in filters:
            filters["species"] = self._species(filters["species"])
        if "region" in filters and filters["region"] not in regions(self.program):
            raise ValidationError(
                {"region": said("No route is in the region {region}.", region=filters["region"])}
            )
        return filters

    def _species(self, code: str) -> Species:
        for species in checklist_species(self.program):
            if species.code == code:
                return species
        raise ValidationError(
            {"species": said("{code} is not a species of the checklist.", code=code)}
        )


class RouteYears(_Results):
    permission = Permission.READ_SEASONS

    @extend_schema(
        parameters=[ResultFilterSerializer], responses={200: RouteYearsSerializer, **ERRORS}
    )
    def get(self, request: Request, program: str) -> Response:
        """Routes × season years: what was heard, the effort, and the gaps."""
        return Response(RouteYearsSerializer(route_years(self.program, **self.filters())).data)


class SeasonCoverage(_Results):
    permission = Permission.READ_RECORDS
    filter_serializer = CoverageFilterSerializer

    @extend_schema(
        parameters=[CoverageFilterSerializer], responses={200: CoverageSerializer, **ERRORS}
    )
    def get(self, request: Request, program: str) -> Response:
        """Routes × windows of a season year: done, in review, due or missed."""
        table = coverage(self.program, **self.filters())
        if self.token is not None or not may(self.member, Permission.READ_SEASONS):
            table = self._with_shared_names(table)
        return Response(CoverageSerializer(table).data)

    def _with_shared_names(self, table: CoverageTable) -> CoverageTable:
        """The name of a route may say where it is."""
        named = named_routes(shared_stops(self.program).values())
        rows = (row if row.code in named else replace(row, name="") for row in table.rows)
        return replace(table, rows=tuple(rows))


class Trends(_Results):
    permission = Permission.READ_RESULTS

    @extend_schema(parameters=[ResultFilterSerializer], responses={200: TrendsSerializer, **ERRORS})
    def get(self, request: Request, program: str) -> Response:
        """The yearly table with the meaning of its columns, and the trends of all species by stops
        together, over all regions and years."""
        rows = yearly_table(self.program, **self.filters())
        fits = stored_fits(self.program)
        together = community_of([(fit.species.code, fit.result.trend.occupancy) for fit in fits])
        return Response(
            {
                "columns": [dataclasses.asdict(column) for column in COLUMNS],
                "rows": [row_values(row) for row in rows],
                "together": CommunitySerializer(together).data if together else None,
            }
        )


class SpeciesTrends(_Results):
    permission = Permission.READ_RESULTS
    filter_serializer = SpeciesTrendFilterSerializer

    @extend_schema(
        parameters=[SpeciesTrendFilterSerializer],
        responses={200: SpeciesTrendsSerializer, **ERRORS},
    )
    def get(self, request: Request, program: str) -> Response:
        """Corrected shares, trends, their flags, how much they depend on choices, and null
        runs."""
        filters = self.filters()
        species = [filters["species"]] if "species" in filters else None
        site, region = filters["site"], filters.get("region", "")
        fits = stored_fits(self.program, species=species, site=site, region=region)
        of_all_stops = site == SiteKind.STOP and not region
        runs = published_null_runs(self.program) if of_all_stops else {}
        return Response({"flags": FLAGS, "rows": [_row(fit, runs) for fit in fits]})


class SightingShares(_Results):
    permission = Permission.READ_RESULTS
    filter_serializer = SightingFilterSerializer

    @extend_schema(
        operation_id="sighting_shares",
        parameters=[SightingFilterSerializer],
        responses={200: SightingShareRowSerializer(many=True), **ERRORS},
    )
    def get(self, request: Request, program: str) -> Response:
        """The share of each color form and life stage, by region and season year."""
        shares = sighting_shares(self.program, self.filters().get("species"))
        return Response([sighting_share_row(one) for one in shares])


def _row(fit: StoredFit, runs: Mapping[str, dict[str, Any]]) -> dict[str, object]:
    result, name = fit.result, fit.species.scientific_name
    return {
        "species": fit.species.code,
        "region": fit.region,
        "fresh": fit.fresh,
        "sentence": trend_sentence(fit.species.common_name, result, fit.site),
        "whole_sentence": whole_sentence(result, fit.site),
        "chorus_sentence": chorus_sentence(result),
        "check_sentence": check_sentence(result),
        "water_sentence": lag_sentence(result),
        "trend": trend_row(name, fit.site, result),
        "years": list(occupancy_rows(name, fit.site, result)),
        "sensitivity": list(sensitivity_rows(name, fit.site, result)),
        "null_run": runs.get(name),
        "changes": [
            {**change_effect_row(name, effect), "sentence": effect_sentence(effect)}
            for effect in result.changes
        ],
        "water": water_and_calls_row(name, result.water) if result.water else None,
    }
