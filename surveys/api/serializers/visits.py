"""Visits: their sheet, their rows, and changes to them."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from accounts.models import Membership
from surveys.api.serializers.findings import FindingSerializer
from surveys.models import (
    Source,
    Visit,
    VisitState,
)
from surveys.programs.protocols import version_on
from surveys.visits.access import cells_for, second_observer_for
from surveys.visits.coming_back import came_back
from surveys.visits.sheet.cells import (
    MAX_TEXT_LENGTH,
    CellChange,
    storable,
)


class CellText(serializers.CharField):
    """The text of a cell exactly as typed."""

    def __init__(self, **options: Any) -> None:
        options = {"allow_blank": True, "trim_whitespace": False, **options}
        super().__init__(max_length=MAX_TEXT_LENGTH, **options)

    def to_internal_value(self, data: object) -> str:
        return super().to_internal_value(storable(data) if isinstance(data, str) else data)


class VisitRowSerializer(serializers.ModelSerializer):
    """A visit in a list."""

    route = serializers.CharField(source="route.code")
    observer = serializers.CharField(source="observer.name")
    source = serializers.CharField(help_text="phone, paper or import")
    second_observer = serializers.SerializerMethodField(
        help_text="a member, or a guest: by name for coordinators and those who were there"
    )

    class Meta:
        model = Visit
        fields = [
            "id",
            "route",
            "night",
            "season_year",
            "window",
            "state",
            "source",
            "observer",
            "second_observer",
            "revision",
            "counts_in_trends",
            "created_at",
            "changed_at",
            "submitted_at",
        ]
        read_only_fields = fields

    def get_second_observer(self, visit: Visit) -> str:
        return second_observer_for(self.context["member"], visit)


class VisitSerializer(VisitRowSerializer):
    """A visit with its sheet. `cells` maps addresses to texts as they were typed."""

    cells = serializers.SerializerMethodField()
    stops = serializers.DictField(
        source="carried_stops",
        child=serializers.IntegerField(),
        help_text="number to id of the stops that a phone had saved; empty where none had",
    )
    protocol_version = serializers.IntegerField(
        source="protocol_version_id", help_text="the version by which the visit is judged"
    )
    protocol_in_force = serializers.SerializerMethodField(
        help_text="the version that a visit begun now on that night would be judged by"
    )

    sent_back_note = serializers.SerializerMethodField(
        help_text="what the coordinator wrote, while the visit is sent back; else blank"
    )
    withdrawn = serializers.SerializerMethodField(
        help_text="whether it is open again because its observer withdrew it"
    )

    class Meta(VisitRowSerializer.Meta):
        fields = [
            *VisitRowSerializer.Meta.fields,
            "protocol_version",
            "protocol_in_force",
            "sent_back_note",
            "withdrawn",
            "stops",
            "cells",
        ]
        read_only_fields = fields

    def get_cells(self, visit: Visit) -> dict[str, str]:
        return cells_for(self.context["member"], visit)

    def get_protocol_in_force(self, visit: Visit) -> int | None:
        version = version_on(visit.route.protocol, visit.night)
        return version.pk if version else None

    def get_sent_back_note(self, visit: Visit) -> str:
        return came_back([visit])[visit.pk].note

    def get_withdrawn(self, visit: Visit) -> bool:
        return came_back([visit])[visit.pk].is_withdrawn


class JudgedVisitSerializer(serializers.Serializer):
    """A visit with what is to be said of its sheet."""

    visit = VisitSerializer()
    findings = FindingSerializer(many=True)


class ConflictingCellSerializer(serializers.Serializer):
    """A cell that somebody else filled: both texts, nothing overwritten."""

    address = serializers.CharField()
    mine = serializers.CharField(allow_blank=True)
    theirs = serializers.CharField(allow_blank=True)


class SavedSerializer(JudgedVisitSerializer):
    conflicts = ConflictingCellSerializer(many=True)


class SheetSerializer(serializers.Serializer):
    """A whole sheet. `route` is the route's code, `night` the date of the evening;
    `protocol_version` is the one that a phone carried, by which a new visit is judged; `stops` are
    the ids of the stops that it carried, by number. `observer` is the id of the person who began
    the sheet: when somebody else has signed in meanwhile, nothing is saved.
    `recovers` brings back a draft that was thrown away: its `discarded_at`."""

    route = serializers.CharField(max_length=20)
    night = serializers.DateField()
    source = serializers.ChoiceField(
        choices=[Source.PHONE.value, Source.PAPER.value], default=Source.PHONE.value
    )
    protocol_version = serializers.IntegerField(required=False, min_value=1, max_value=2**63 - 1)
    stops = serializers.DictField(
        required=False, child=serializers.IntegerField(min_value=1, max_value=2**63 - 1)
    )
    observer = serializers.IntegerField(required=False, min_value=1, max_value=2**63 - 1)
    recovers = serializers.DateTimeField(required=False)
    cells = serializers.DictField(child=CellText())


class DiscardSerializer(serializers.Serializer):
    """`observer` is the id of the person who began the draft: when somebody else has signed in
    meanwhile, nothing is thrown away."""

    observer = serializers.IntegerField(required=False, min_value=1, max_value=2**63 - 1)


class CellChangeSerializer(serializers.Serializer):
    """`was` is the text that the change was typed over, `now` the new one."""

    was = CellText(default="")
    now = CellText()


class ChangesSerializer(serializers.Serializer):
    """Changed cells by address."""

    changes = serializers.DictField(child=CellChangeSerializer())

    def validate_changes(self, changes: dict[str, dict[str, str]]) -> dict[str, CellChange]:
        return {address: CellChange(**change) for address, change in changes.items()}


class CorrectionSerializer(ChangesSerializer):
    reason = serializers.CharField()


class ConfirmingSerializer(serializers.Serializer):
    """A species of the sheet, heard again in a voucher recording of its stop."""

    recording = serializers.UUIDField()
    species = serializers.CharField(help_text="code of the species")


class NoteSerializer(serializers.Serializer):
    note = serializers.CharField(help_text="Why; the observer or later readers will read it.")


class VisitFilterSerializer(serializers.Serializer):
    """Filters of the list of visits."""

    route = serializers.CharField(required=False, help_text="code of the route")
    season_year = serializers.IntegerField(required=False, min_value=1900, max_value=2200)
    state = serializers.ChoiceField(required=False, choices=VisitState.choices)
    night_from = serializers.DateField(required=False)
    night_to = serializers.DateField(required=False)
    mine = serializers.BooleanField(required=False, help_text="only visits of my own")


def visit_data(member: Membership, visit: Visit) -> dict[str, Any]:
    return VisitSerializer(visit, context={"member": member}).data
