"""The program's own fields."""

from rest_framework import serializers

from surveys.models import OwnField


class OwnFieldSerializer(serializers.ModelSerializer):
    """A field of the sheet that the program added. Its cell is `own.` and the key, at a stop
    `stops.<number>.own.` and the key."""

    choices = serializers.ListField(
        child=serializers.ListField(child=serializers.CharField(), min_length=2, max_length=2),
        help_text="pairs of the stored key and the name",
    )

    class Meta:
        model = OwnField
        fields = [
            "key",
            "label",
            "help",
            "kind",
            "per",
            "unit",
            "low",
            "high",
            "choices",
            "required_from",
            "asked_from",
            "asked_until",
            "published",
        ]
        read_only_fields = fields
