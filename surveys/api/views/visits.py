"""Visits and their sheets. Every change is a verb of surveys.visits."""

import dataclasses
import uuid
from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework import status
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.access import Permission
from accounts.models import Membership
from surveys.api.base import (
    Paging,
    ProgramView,
)
from surveys.api.describing import (
    CHANGE_ERRORS,
    ERRORS,
    READ_ERRORS,
    REFUSABLE_ERRORS,
    if_match,
)
from surveys.api.serializers.findings import finding_data
from surveys.api.serializers.records import (
    RecordsSerializer,
    records_data,
)
from surveys.api.serializers.visits import (
    ChangesSerializer,
    DiscardSerializer,
    JudgedVisitSerializer,
    SavedSerializer,
    SheetSerializer,
    VisitFilterSerializer,
    VisitRowSerializer,
    visit_data,
)
from surveys.models import Visit
from surveys.visits.access import (
    EDITABLE,
    find_visit,
    visible_visits,
)
from surveys.visits.drafts import (
    Saved,
    discard_draft,
    put_sheet,
    save_cells,
)
from surveys.visits.judging import judge_sheet
from surveys.visits.verbs import submit_visit, withdraw

_LOOKUPS = {
    "route": "route__code",
    "season_year": "season_year",
    "state": "state",
    "night_from": "night__gte",
    "night_to": "night__lte",
}


class Visits(ProgramView):
    permission = Permission.READ_SEASONS
    pagination_class = Paging
    filter_serializer = VisitFilterSerializer
    serializer_class = VisitRowSerializer

    @extend_schema(
        operation_id="visits_list",
        parameters=[VisitFilterSerializer],
        responses={200: VisitRowSerializer(many=True), **ERRORS},
    )
    def get(self, request: Request, program: str) -> Response:
        """Visits that you may read, latest night first."""
        return self.paged(self._matching(), VisitRowSerializer)

    def _matching(self) -> QuerySet[Visit]:
        filters = self.filters()
        visits = visible_visits(self.member).filter(
            **{lookup: filters[name] for name, lookup in _LOOKUPS.items() if name in filters}
        )
        if filters.get("mine"):
            visits = visits.filter(observer=self.member.person_id)
        return visits.select_related("route", "observer", "second_member").order_by(
            "-night", "route__code", "pk"
        )


class VisitDetail(ProgramView):
    @property
    def permission(self) -> Permission:
        reading = self.request.method in ("GET", "HEAD", "OPTIONS")
        return Permission.READ_SEASONS if reading else Permission.SURVEY

    @extend_schema(responses={200: JudgedVisitSerializer, **READ_ERRORS})
    def get(self, request: Request, program: str, visit_id: uuid.UUID) -> Response:
        """A visit with its sheet and findings: as they stand for a sheet that is still
        being filled, else as they were settled."""
        return judged_response(self.member, find_visit(self.member, visit_id))

    @extend_schema(
        parameters=[if_match(required=False)],
        request=SheetSerializer,
        responses={200: SavedSerializer, 201: SavedSerializer, **CHANGE_ERRORS},
    )
    def put(self, request: Request, program: str, visit_id: uuid.UUID) -> Response:
        """Begin a visit under an id of your own making, or replace the cells of its sheet.

        The same request again changes nothing. To replace what a visit holds, send the
        revision that you looked at in `If-Match`.
        """
        sheet = self.body(SheetSerializer)
        saved, is_new = put_sheet(
            self.member,
            visit_id,
            route=self.route(sheet["route"]),
            night=sheet["night"],
            cells=sheet["cells"],
            revision=self.revision_or_none(),
            source=sheet["source"],
            carried_version_id=sheet.get("protocol_version"),
            carried_stops=sheet.get("stops", {}),
            recovers=sheet.get("recovers"),
            begun_by_id=sheet.get("observer"),
        )
        return _saved_response(
            self.member, saved, status.HTTP_201_CREATED if is_new else status.HTTP_200_OK
        )

    @extend_schema(
        parameters=[if_match(required=False)],
        request=ChangesSerializer,
        responses={200: SavedSerializer, **CHANGE_ERRORS},
    )
    def patch(self, request: Request, program: str, visit_id: uuid.UUID) -> Response:
        """Merge changed cells into a sheet. Cells that somebody else filled meanwhile stay
        as they are and come back as conflicts, with both texts.

        With the revision that you looked at in `If-Match`, a request that arrives late
        or twice changes nothing: it answers 409.
        """
        changes = self.body(ChangesSerializer)["changes"]
        revision = self.revision_or_none()
        return _saved_response(
            self.member, save_cells(self.member, visit_id, changes, revision=revision)
        )

    @extend_schema(parameters=[DiscardSerializer], responses={204: None, **CHANGE_ERRORS})
    def delete(self, request: Request, program: str, visit_id: uuid.UUID) -> Response:
        """Throw away a draft of your own that was never submitted. A request for it that is
        still on its way then answers 410. The same request again changes nothing."""
        wanted = self._valid(DiscardSerializer, request.query_params)
        discard_draft(self.member, visit_id, begun_by_id=wanted.get("observer"))
        return Response(status=status.HTTP_204_NO_CONTENT)


class VisitRecords(ProgramView):
    permission = Permission.READ_SEASONS

    @extend_schema(responses={200: RecordsSerializer, **READ_ERRORS})
    def get(self, request: Request, program: str, visit_id: uuid.UUID) -> Response:
        """Listening periods with calls, sightings, and the steps of review."""
        return Response(records_data(find_visit(self.member, visit_id)))


class SubmitVisit(ProgramView):
    permission = Permission.SURVEY

    @extend_schema(
        parameters=[if_match()],
        request=None,
        responses={200: JudgedVisitSerializer, **REFUSABLE_ERRORS},
    )
    def post(self, request: Request, program: str, visit_id: uuid.UUID) -> Response:
        """Submit your own sheet. The same request again changes nothing."""
        return judged_response(
            self.member, submit_visit(self.member, visit_id, revision=self.revision())
        )


class WithdrawVisit(ProgramView):
    permission = Permission.SURVEY

    @extend_schema(
        parameters=[if_match()],
        request=None,
        responses={200: JudgedVisitSerializer, **CHANGE_ERRORS},
    )
    def post(self, request: Request, program: str, visit_id: uuid.UUID) -> Response:
        """Have your own submitted sheet again, to change it before anyone reviews it."""
        return judged_response(
            self.member, withdraw(self.member, visit_id, revision=self.revision())
        )


def judged_response(member: Membership, visit: Visit) -> Response:
    """A visit with its findings: judged now while it can be edited, else the stored ones."""
    if visit.state in EDITABLE:
        findings = judge_sheet(visit)
    else:
        findings = visit.findings.select_related(
            "visit__route__program", "stop", "species", "settled_by"
        )
    return _with_revision(
        visit,
        {
            "visit": visit_data(member, visit),
            "findings": [finding_data(finding) for finding in findings],
        },
    )


def _saved_response(member: Membership, saved: Saved, code: int = status.HTTP_200_OK) -> Response:
    return _with_revision(
        saved.visit,
        {
            "visit": visit_data(member, saved.visit),
            "findings": [finding_data(finding) for finding in saved.findings],
            "conflicts": [dataclasses.asdict(conflict) for conflict in saved.conflicts],
        },
        code,
    )


def _with_revision(visit: Visit, data: dict[str, Any], code: int = status.HTTP_200_OK) -> Response:
    return Response(data, status=code, headers={"ETag": f'"{visit.revision}"'})
