"""Seasons and trends."""

from rest_framework import serializers

from surveys.models import SiteKind


class ResultFilterSerializer(serializers.Serializer):
    """Filters of seasons and trends."""

    species = serializers.CharField(required=False, help_text="code of a checklist species")
    region = serializers.CharField(required=False)
    first_year = serializers.IntegerField(required=False, min_value=1900, max_value=2200)
    last_year = serializers.IntegerField(required=False, min_value=1900, max_value=2200)


class SpeciesTrendFilterSerializer(serializers.Serializer):
    """Filters of fitted trends."""

    species = serializers.CharField(required=False, help_text="code of a checklist species")
    region = serializers.CharField(required=False, help_text="without it, all regions together")
    site = serializers.ChoiceField(choices=SiteKind.choices, default=SiteKind.STOP)


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
    """`cells` follow `windows`; null where the route owes nothing."""

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
    """Percent of the share of stops a year, with its 95 % interval."""

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
    to rise, if none changed; `discovered` still change at a false-discovery rate of 5 %."""

    species = SharedTrendSerializer(many=True)
    mean = ChangeSerializer()
    fell = serializers.IntegerField()
    rose = serializers.IntegerField()
    by_chance = serializers.FloatField()
    discovered = serializers.ListField(child=serializers.CharField())


class TrendsSerializer(serializers.Serializer):
    """The yearly table: each row maps the names of `columns` to values; null is blank. `together`
    is null where fewer than three species have a trend that is told."""

    columns = ColumnSerializer(many=True)
    rows = serializers.ListField(child=serializers.DictField(allow_null=True))
    together = CommunitySerializer(allow_null=True)


class SpeciesTrendSerializer(serializers.Serializer):
    """What is fitted of a species; numbers are null where they cannot be said, and flags say why.

    `trend`, `years` and `sensitivity` have the columns of the tables `trends`, `occupancy` and
    `sensitivity` of a publication. `sentence` is what the page of the species says.
    """

    species = serializers.CharField(help_text="code of the species")
    region = serializers.CharField(allow_blank=True)
    fresh = serializers.BooleanField(help_text="whether it is of today's data")
    sentence = serializers.CharField()
    check_sentence = serializers.CharField(allow_blank=True)
    trend = serializers.DictField(allow_null=True)
    years = serializers.ListField(child=serializers.DictField(allow_null=True))
    sensitivity = serializers.ListField(child=serializers.DictField(allow_null=True))


class SpeciesTrendsSerializer(serializers.Serializer):
    flags = serializers.DictField(
        child=serializers.CharField(), help_text="every flag with its meaning"
    )
    rows = SpeciesTrendSerializer(many=True)
