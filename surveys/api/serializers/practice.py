"""Answers in practice with calls."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from surveys.learning.phone import KINDS
from surveys.models import PracticeAnswer
from surveys.sound.calls import COLDEST, WARMEST
from surveys.sound.questions import DISTANCES, MOST_CHOICES, MOST_VOICES
from surveys.sound.synthesis import BACKGROUNDS

_LONGEST_CODE = 80


class VoiceSerializer(serializers.Serializer):
    """`made_as` is the species whose call is made. A recording has neither that nor an index."""

    species = serializers.CharField(max_length=_LONGEST_CODE)
    made_as = serializers.CharField(max_length=_LONGEST_CODE, allow_blank=True)
    index = serializers.IntegerField(min_value=1, max_value=3, allow_null=True)


class QuestionSerializer(serializers.Serializer):
    """What was played, and the choices. `recording` is the id of a reference call; if it is blank,
    the call was made by computer, at `celsius` and `distance` meters away, with a noise `behind`,
    from `seed`."""

    kind = serializers.ChoiceField(choices=[kind.value for kind in KINDS])
    voices = VoiceSerializer(many=True, min_length=1, max_length=MOST_VOICES)
    choices = serializers.ListField(
        child=serializers.CharField(max_length=_LONGEST_CODE), min_length=1, max_length=MOST_CHOICES
    )
    celsius = serializers.FloatField(min_value=COLDEST, max_value=WARMEST)
    distance = serializers.FloatField(min_value=min(DISTANCES), max_value=max(DISTANCES))
    behind = serializers.ChoiceField(choices=["", *BACKGROUNDS])
    recording = serializers.UUIDField(allow_null=True)
    seed = serializers.IntegerField(min_value=1, max_value=2**31 - 1)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        recording = attrs["recording"]
        return {**attrs, "recording": str(recording) if recording else ""}


class GivePracticeAnswerSerializer(serializers.Serializer):
    """`named` has the species that were named, each with its call index if that was asked, else
    null. `observer` is the id of the person who answered: when somebody else has signed in
    meanwhile, nothing is saved."""

    question = QuestionSerializer()
    named = serializers.DictField(
        child=serializers.IntegerField(min_value=1, max_value=3, allow_null=True),
        allow_empty=False,
    )
    answered_at = serializers.DateTimeField()
    observer = serializers.IntegerField(required=False, min_value=1, max_value=2**63 - 1)


class TallySerializer(serializers.Serializer):
    """How often you were right and wrong about a species, and what you named in its place."""

    right = serializers.IntegerField()
    wrong = serializers.IntegerField()
    named_instead = serializers.DictField(child=serializers.IntegerField())


class PracticeAnswerSerializer(serializers.ModelSerializer):
    """`tallies` is what you know and confuse, by code of the species, as of `told_at`."""

    tallies = serializers.DictField(child=TallySerializer())
    told_at = serializers.DateTimeField()

    class Meta:
        model = PracticeAnswer
        fields = ["id", "answered_at", "tallies", "told_at"]
        read_only_fields = fields
