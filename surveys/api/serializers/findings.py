"""Findings: what the rules say of a visit."""

from typing import Any

from rest_framework import serializers

from surveys.models import (
    Settlement,
    StoredFinding,
)
from surveys.visits.finding import where_of
from surveys.visits.sheet.cells import cell_of
from surveys.visits.telling import ToldFinding


class FindingSerializer(serializers.Serializer):
    """`cell` is the address of the cell it stands beside. `id`, `settlement`, `reason`
    and `settled_by` belong to findings of a submitted visit."""

    id = serializers.IntegerField(allow_null=True)
    code = serializers.CharField()
    severity = serializers.CharField(help_text="refuse, query or note")
    stop = serializers.IntegerField(allow_null=True)
    field = serializers.CharField(allow_null=True)
    species = serializers.CharField(allow_null=True)
    cell = serializers.CharField(allow_blank=True)
    variant = serializers.CharField(
        allow_blank=True, help_text="which of the sentences of its code it is"
    )
    params = serializers.DictField(
        help_text="what the sentence is filled with: a number or text, or an object with one key "
        'that tells the kind and unit, such as {"duration_s": 270}'
    )
    message = serializers.CharField(help_text="in the language and the units of the program")
    remedy = serializers.CharField(allow_blank=True)
    settlement = serializers.CharField(
        allow_blank=True, help_text="blank while open; counts or left_out"
    )
    reason = serializers.CharField(allow_blank=True)
    settled_by = serializers.CharField(allow_null=True)


class SettlementSerializer(serializers.Serializer):
    """The answer to a query, with the reason for it."""

    settlement = serializers.ChoiceField(choices=Settlement.choices)
    reason = serializers.CharField()


def finding_data(finding: ToldFinding | StoredFinding) -> dict[str, Any]:
    """A finding, fresh or stored, in the shape of FindingSerializer."""
    where = where_of(finding)
    stored = finding if isinstance(finding, StoredFinding) else None
    return {
        "id": stored.pk if stored else None,
        "code": finding.code,
        "severity": str(finding.severity),
        "stop": where.stop,
        "field": where.field,
        "species": where.species,
        "cell": cell_of(where),
        "variant": finding.variant,
        "params": finding.params,
        "message": finding.message,
        "remedy": finding.remedy,
        "settlement": stored.settlement if stored else "",
        "reason": stored.reason if stored else "",
        "settled_by": stored.settled_by.name if stored and stored.settled_by else None,
    }
