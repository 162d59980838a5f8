"""The shape of every error."""

from rest_framework import serializers

from surveys.api.serializers.findings import FindingSerializer
from surveys.api.serializers.visits import VisitSerializer


class ProblemSerializer(serializers.Serializer):
    """What is wrong, in a sentence; `where` names the field of the request."""

    detail = serializers.CharField()
    where = serializers.CharField(required=False)


class RefusalSerializer(ProblemSerializer):
    """The findings that stand in the way."""

    findings = FindingSerializer(many=True)


class ConflictSerializer(ProblemSerializer):
    """The visit as the server has it; nothing of it was overwritten."""

    visit = VisitSerializer()


class DiscardedSerializer(ProblemSerializer):
    """The draft was thrown away; `discarded_at` is what `recovers` must say to begin it again."""

    discarded_at = serializers.DateTimeField()
