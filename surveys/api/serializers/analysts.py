"""Records for analysts: filters, rows and pages. Rows have the columns of the statements."""

from typing import Any

from rest_framework import serializers

from surveys.api.serializers.filters import YearsFilterSerializer
from surveys.exports.records import (
    CALLS,
    OWN_VALUES,
    PERIODS,
    STOPPED,
    VISITS,
    Kind,
    RecordTable,
)
from surveys.exports.writing import EXPORT_FORMATS
from surveys.publishing.stops import SharedStop

MAX_PAGE_SIZE = 5000
DEFAULT_PAGE_SIZE = 1000

_FIELDS: dict[Kind, type[serializers.Field]] = {
    "id": serializers.UUIDField,
    "text": serializers.CharField,
    "whole": serializers.IntegerField,
    "number": serializers.FloatField,
    "flag": serializers.BooleanField,
    "date": serializers.DateField,
    "instant": serializers.DateTimeField,
}


class PlacesFilterSerializer(serializers.Serializer):
    places = serializers.ChoiceField(
        choices=["shared", "exact"],
        default="shared",
        help_text="shared: as the program shares them. exact: only with that right, and with a "
        "token only when its scope names them; each request is noted.",
    )


class RecordFilterSerializer(YearsFilterSerializer):
    """Filters; those that are given must all hold."""

    season_year = serializers.IntegerField(required=False, min_value=1900, max_value=2200)
    route = serializers.CharField(required=False, help_text="code of a route")
    changed_since = serializers.DateTimeField(
        required=False,
        help_text="Visits changed at or after this instant. Those that no longer count are at "
        "records/stopped-counting/. Ask from some minutes before you last read: a change carries "
        "the time at which it began to be saved.",
    )


class PageSerializer(serializers.Serializer):
    limit = serializers.IntegerField(
        min_value=1, max_value=MAX_PAGE_SIZE, default=DEFAULT_PAGE_SIZE, help_text="rows a page"
    )
    cursor = serializers.CharField(
        required=False, help_text="from `next` of the page before; never made by hand"
    )


class PagedFilterSerializer(RecordFilterSerializer, PageSerializer):
    pass


class CallFilterSerializer(RecordFilterSerializer, PlacesFilterSerializer):
    species = serializers.CharField(required=False, help_text="code of a checklist species")


class PagedCallFilterSerializer(CallFilterSerializer, PageSerializer):
    pass


class ExportFilterSerializer(CallFilterSerializer):
    format = serializers.ChoiceField(
        choices=list(EXPORT_FORMATS),
        default="csv",
        help_text="json is one object a line (newline-delimited)",
    )


def _row_serializer(table: RecordTable) -> type[serializers.Serializer]:
    fields = {
        column.name: _FIELDS[column.kind](help_text=column.meaning, allow_null=True)
        if column.name not in table.key_columns
        else _FIELDS[column.kind](help_text=column.meaning)
        for column in table.columns
    }
    return type(
        f"{table.name.title().replace('_', '')}RecordSerializer", (serializers.Serializer,), fields
    )


def _page_serializer(row: type[serializers.Serializer]) -> type[serializers.Serializer]:
    name = row.__name__.replace("Serializer", "PageSerializer")
    fields: dict[str, Any] = {
        "next": serializers.URLField(allow_null=True, help_text="the next page; null at the end"),
        "results": row(many=True),
        "__doc__": "A page of records, in an order that does not change while you read.",
    }
    return type(name, (serializers.Serializer,), fields)


VisitsPage, StoppedPage, PeriodsPage, CallsPage, OwnValuesPage = (
    _page_serializer(_row_serializer(table))
    for table in (VISITS, STOPPED, PERIODS, CALLS, OWN_VALUES)
)


class StopRecordSerializer(serializers.Serializer):
    """A stop, its place as far as it is given. `name` is blank where places are generalized."""

    stop = serializers.CharField()
    route = serializers.CharField()
    region = serializers.CharField(allow_blank=True)
    number = serializers.IntegerField()
    name = serializers.CharField(allow_blank=True)
    latitude = serializers.FloatField(allow_null=True)
    longitude = serializers.FloatField(allow_null=True)
    coordinate_uncertainty_m = serializers.FloatField(allow_null=True)
    grid_degrees = serializers.FloatField(allow_null=True)
    data_generalizations = serializers.CharField(allow_blank=True)
    information_withheld = serializers.CharField(allow_blank=True)
    active_from = serializers.DateField()
    active_until = serializers.DateField(allow_null=True)
    habitat = serializers.CharField()
    hydroperiod = serializers.CharField()
    fish = serializers.CharField()


class RouteRecordSerializer(serializers.Serializer):
    """A route, the middle of its stops as far as these are given, and the radius around it within
    which all of them lie. `name` is blank where places are generalized."""

    route = serializers.CharField()
    name = serializers.CharField(allow_blank=True)
    region = serializers.CharField(allow_blank=True)
    stratum = serializers.CharField(allow_blank=True)
    protocol = serializers.CharField()
    chosen = serializers.CharField(help_text="random, habitat, heard or unknown")
    active = serializers.BooleanField()
    stops = serializers.IntegerField()
    latitude = serializers.FloatField(allow_null=True)
    longitude = serializers.FloatField(allow_null=True)
    coordinate_uncertainty_m = serializers.FloatField(allow_null=True)
    data_generalizations = serializers.CharField(allow_null=True)
    information_withheld = serializers.CharField(allow_null=True)


def stop_record(stop: SharedStop, place: Any, *, named: bool, region: str) -> dict[str, Any]:
    row = stop.row
    return {
        "stop": stop.label,
        "route": row.route,
        "region": region,
        "number": row.number,
        "name": row.name if named else "",
        "latitude": place.latitude,
        "longitude": place.longitude,
        "coordinate_uncertainty_m": place.uncertainty_m,
        "grid_degrees": place.grid_degrees,
        "data_generalizations": place.generalizations,
        "information_withheld": place.withheld,
        "active_from": row.active_from,
        "active_until": row.active_until,
        "habitat": row.habitat,
        "hydroperiod": row.hydroperiod,
        "fish": row.fish,
    }
