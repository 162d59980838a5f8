"""Return times."""

from __future__ import annotations

from rest_framework import serializers

from surveys.models import CheckIn


class SetCheckInSerializer(serializers.Serializer):
    """`route` is the route's code, `contact` the id from the route packet. With `back_at` they are
    back. `observer` is the id of the person who set the time on the phone: when somebody else has
    signed in meanwhile, nothing is saved."""

    route = serializers.CharField(max_length=20)
    back_by = serializers.DateTimeField()
    contact = serializers.IntegerField(
        required=False, allow_null=True, default=None, min_value=1, max_value=2**63 - 1
    )
    car = serializers.CharField(required=False, allow_blank=True, default="", max_length=120)
    back_at = serializers.DateTimeField(required=False, allow_null=True, default=None)
    observer = serializers.IntegerField(required=False, min_value=1, max_value=2**63 - 1)


class CheckInSerializer(serializers.ModelSerializer):
    """`overdue_at` is when the site found them late; null before."""

    route = serializers.CharField(source="route.code")

    class Meta:
        model = CheckIn
        fields = ["id", "route", "back_by", "heard_at", "back_at", "overdue_at"]
        read_only_fields = fields
