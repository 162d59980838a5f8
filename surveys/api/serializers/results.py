"""Seasons and trends."""

from typing import Any

from rest_framework import serializers

from surveys.api.serializers.filters import YearsFilterSerializer
from surveys.models import SiteKind
from surveys.publishing.tables import (
    CHANGE_EFFECTS,
    NULL_RUNS,
    OCCUPANCY,
    SENSITIVITY,
    SIGHTING_SHARES,
    TRENDS,
    WATER_AND_CALLS,
    YEARLY,
    CellType,
    Table,
)

SHARED = ("shrunken_change", "shrunken_change_low", "shrunken_change_high", "discovery_rate")


class ResultFilterSerializer(YearsFilterSerializer):
    """Filters of seasons and trends."""

    species = serializers.CharField(required=False, help_text="code of a checklist species")
    region = serializers.CharField(required=False, help_text="a region of the program's routes")


class SpeciesTrendFilterSerializer(serializers.Serializer):
    """Filters of fitted trends."""

    species = serializers.CharField(required=False, help_text="code of a checklist species")
    region = serializers.CharField(required=False, help_text="without it, all regions together")
    site = serializers.ChoiceField(choices=SiteKind.choices, default=SiteKind.STOP)


class SightingFilterSerializer(serializers.Serializer):
    species = serializers.CharField(required=False, help_text="code of a checklist species")


class CoverageFilterSerializer(serializers.Serializer):
    season_year = serializers.IntegerField(min_value=1900, max_value=2200)
    region = serializers.CharField(required=False)


class RouteYearSerializer(serializers.Serializer):
    """One route in one season year; `highest_index` is null where nobody listened."""

    season_year = serializers.IntegerField()
    highest_index = serializers.IntegerField(allow_null=True)
    stops_detected = serializers.IntegerField()
    stops_listened = serializers.IntegerField()
    visits = serializers.IntegerField()
    periods = serializers.IntegerField()
    windows_done = serializers.IntegerField()
    windows_due = serializers.IntegerField()
    gap = serializers.BooleanField()


class RouteYearsRowSerializer(serializers.Serializer):
    """`cells` follow `years`; null where nothing was due and nothing done."""

    code = serializers.CharField()
    name = serializers.CharField()
    region = serializers.CharField(allow_blank=True)
    cells = serializers.ListField(child=RouteYearSerializer(allow_null=True))


class RouteYearsSerializer(serializers.Serializer):
    years = serializers.ListField(child=serializers.IntegerField())
    rows = RouteYearsRowSerializer(many=True)


class CoverageCellSerializer(serializers.Serializer):
    opens = serializers.DateField(source="window.opens")
    closes = serializers.DateField(source="window.closes")
    coverage = serializers.CharField()
    visits = serializers.IntegerField()


class CoverageRowSerializer(serializers.Serializer):
    """`cells` follow `windows`; null where the route owes nothing. `name` is blank for readers of
    results where places are generalized."""

    code = serializers.CharField()
    name = serializers.CharField()
    region = serializers.CharField(allow_blank=True)
    cells = serializers.ListField(child=CoverageCellSerializer(allow_null=True))


class CoverageSerializer(serializers.Serializer):
    season_year = serializers.IntegerField()
    windows = serializers.ListField(child=serializers.CharField())
    rows = CoverageRowSerializer(many=True)
    totals = serializers.DictField(child=serializers.IntegerField())


class ColumnSerializer(serializers.Serializer):
    """A column of the yearly table, in the types of Table Schema."""

    name = serializers.CharField()
    type = serializers.CharField()
    unit = serializers.CharField(allow_blank=True)
    meaning = serializers.CharField()
    required = serializers.BooleanField()
    minimum = serializers.FloatField(allow_null=True)
    maximum = serializers.FloatField(allow_null=True)


class ChangeSerializer(serializers.Serializer):
    """Percent of the share of stops per year, with its 95% interval."""

    value = serializers.FloatField()
    low = serializers.FloatField()
    high = serializers.FloatField()


class SharedTrendSerializer(serializers.Serializer):
    """`own` as the surveys of the species tell it, `shrunken` pulled toward the other species;
    `discovery` is the lowest false-discovery rate at which it would be said to change."""

    species = serializers.CharField(help_text="code of the species")
    own = ChangeSerializer()
    shrunken = ChangeSerializer()
    discovery = serializers.FloatField()


class CommunitySerializer(serializers.Serializer):
    """The species whose trend is told. `by_chance` is how many would be said to fall, and as many
    to rise, if none changed; `discovered` still change at a false-discovery rate of 5%."""

    species = SharedTrendSerializer(many=True)
    mean = ChangeSerializer()
    fell = serializers.IntegerField()
    rose = serializers.IntegerField()
    by_chance = serializers.FloatField()
    discovered = serializers.ListField(child=serializers.CharField())


_FIELDS: dict[CellType, type[serializers.Field]] = {
    "string": serializers.CharField,
    "integer": serializers.IntegerField,
    "number": serializers.FloatField,
    "boolean": serializers.BooleanField,
    "date": serializers.DateField,
    "datetime": serializers.DateTimeField,
}


def row_serializer(name: str, table: Table, *left_out: str) -> type[serializers.Serializer]:
    """The columns of a published table, for the description of the API."""
    fields: dict[str, Any] = {
        column.name: _FIELDS[column.type](
            allow_null=not column.required,
            help_text=f"{column.meaning} Unit: {column.unit}." if column.unit else column.meaning,
        )
        for column in table.columns
        if column.name not in left_out
    }
    return type(
        f"{name}Serializer",
        (serializers.Serializer,),
        {**fields, "__doc__": f"A row of the table `{table.name}` of a publication."},
    )


YearlyRowSerializer = row_serializer("YearlyRow", YEARLY)
OccupancyRowSerializer = row_serializer("OccupancyRow", OCCUPANCY)
# What the species of a program tell of each other is in `together` of `trends/`.
TrendRowSerializer = row_serializer("TrendRow", TRENDS, *SHARED)
SensitivityRowSerializer = row_serializer("SensitivityRow", SENSITIVITY)
NullRowSerializer = row_serializer("NullRow", NULL_RUNS)
SightingShareRowSerializer = row_serializer("SightingShareRow", SIGHTING_SHARES)
ChangeEffectRowSerializer = row_serializer("ChangeEffectRow", CHANGE_EFFECTS)
WaterAndCallsRowSerializer = row_serializer("WaterAndCallsRow", WATER_AND_CALLS)


class TrendsSerializer(serializers.Serializer):
    """The yearly table: each row maps the names of `columns` to values; null is blank. `together`
    is null where fewer than three species have a trend that is told."""

    columns = ColumnSerializer(many=True)
    rows = YearlyRowSerializer(many=True)
    together = CommunitySerializer(allow_null=True)


class ToldChangeEffectSerializer(ChangeEffectRowSerializer):
    """What a kind of change did, and the same in words."""

    sentence = serializers.CharField()


class PublishedNullRunSerializer(NullRowSerializer):
    """How often the surveys, simulated without a change, would have told one."""

    season_year = serializers.IntegerField(help_text="of the publication")
    version = serializers.IntegerField(help_text="of the publication")


class SpeciesTrendSerializer(serializers.Serializer):
    """What is fitted of a species; numbers are null where they cannot be said, and flags say why.

    `trend`, `years` and `sensitivity` have the columns of the tables `trends`, `occupancy` and
    `sensitivity` of a publication. `sentence` is what the page of the species says. `sensitivity`
    is of all regions together; of one region it is empty. `null_run` is that of the newest
    publication, by stops and of all regions together; null without one.
    """

    species = serializers.CharField(help_text="code of the species")
    region = serializers.CharField(allow_blank=True)
    fresh = serializers.BooleanField(help_text="whether it is of today's data")
    sentence = serializers.CharField()
    whole_sentence = serializers.CharField(
        allow_blank=True, help_text="of the whole program, its regions weighted"
    )
    chorus_sentence = serializers.CharField(
        allow_blank=True, help_text="of full chorus; blank by route and of one region"
    )
    check_sentence = serializers.CharField(allow_blank=True)
    water_sentence = serializers.CharField(
        allow_blank=True, help_text="from filling to chorus; blank by route"
    )
    trend = TrendRowSerializer()
    years = OccupancyRowSerializer(many=True)
    sensitivity = SensitivityRowSerializer(many=True)
    null_run = PublishedNullRunSerializer(allow_null=True)
    changes = ToldChangeEffectSerializer(
        many=True, help_text="what changes of wetlands did; empty by route"
    )
    water = WaterAndCallsRowSerializer(allow_null=True, help_text="null by route")


class SpeciesTrendsSerializer(serializers.Serializer):
    flags = serializers.DictField(
        child=serializers.CharField(), help_text="every flag with its meaning"
    )
    rows = SpeciesTrendSerializer(many=True)
