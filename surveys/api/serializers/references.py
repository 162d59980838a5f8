"""Reference calls of a program."""

from __future__ import annotations

from typing import Any

from django.urls import reverse
from rest_framework import serializers

from surveys.models import ReferenceCall

LONGEST_CODE = 80


class ReferenceCallSerializer(serializers.ModelSerializer):
    """A part of a recording, up to 20 s, that shows how a species sounds. `by` recorded it and
    agreed as `consent` says; `recording` is null where it was brought in as a file. `measures`
    has bands with pitches in Hz, pulses a second and seconds; null in them is not measurable."""

    species = serializers.CharField(source="species.code")
    by = serializers.CharField()
    recording = serializers.UUIDField(source="recording_id", allow_null=True)
    measures = serializers.SerializerMethodField()
    sound = serializers.SerializerMethodField()

    class Meta:
        model = ReferenceCall
        fields = [
            "id",
            "species",
            "by",
            "consent",
            "license",
            "recording",
            "seconds",
            "air_celsius",
            "measures",
            "bytes",
            "added_at",
            "sound",
        ]
        read_only_fields = fields

    def get_measures(self, reference: ReferenceCall) -> dict[str, Any]:
        return reference.measures

    def get_sound(self, reference: ReferenceCall) -> str:
        """The address of its sound."""
        where = {"program": self.context["member"].program.slug, "reference_id": reference.pk}
        return reverse("api:reference_call_sound", kwargs=where)


class ReferenceFilterSerializer(serializers.Serializer):
    species = serializers.CharField(required=False, max_length=LONGEST_CODE)
