"""Filters that several lists share."""

from typing import Any

from rest_framework import serializers

from surveys.language import said


class YearsFilterSerializer(serializers.Serializer):
    """Season years from the first to the last."""

    first_year = serializers.IntegerField(required=False, min_value=1900, max_value=2200)
    last_year = serializers.IntegerField(required=False, min_value=1900, max_value=2200)

    def validate(self, filters: dict[str, Any]) -> dict[str, Any]:
        first, last = filters.get("first_year"), filters.get("last_year")
        if first is not None and last is not None and first > last:
            raise serializers.ValidationError(
                {
                    "first_year": said(
                        "first_year {first} is after last_year {last}, so no season year can be "
                        "between them. Exchange the two, or leave one out.",
                        first=first,
                        last=last,
                    )
                }
            )
        return filters
