"""Review: each view calls one verb."""

import uuid

from django.http import Http404
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.access import Permission
from surveys.api.base import ProgramView
from surveys.api.describing import (
    CHANGE_ERRORS,
    REFUSABLE_ERRORS,
    if_match,
)
from surveys.api.serializers.findings import SettlementSerializer
from surveys.api.serializers.visits import (
    ConfirmingSerializer,
    CorrectionSerializer,
    JudgedVisitSerializer,
    NoteSerializer,
)
from surveys.api.views.visits import judged_response
from surveys.language import gettext
from surveys.visits import verbs
from surveys.visits.access import find_visit

_NOTE_SCHEMA = {
    "parameters": [if_match()],
    "request": NoteSerializer,
    "responses": {200: JudgedVisitSerializer, **CHANGE_ERRORS},
}


class _ReviewView(ProgramView):
    permission = Permission.REVIEW

    def note(self) -> str:
        return self.body(NoteSerializer)["note"]


class AcceptVisit(_ReviewView):
    @extend_schema(
        parameters=[if_match()],
        request=None,
        responses={200: JudgedVisitSerializer, **REFUSABLE_ERRORS},
    )
    def post(self, request: Request, program: str, visit_id: uuid.UUID) -> Response:
        """Accept a visit, once every question is resolved: it then counts."""
        return judged_response(
            self.member, verbs.accept(self.member, visit_id, revision=self.revision())
        )


class SendBackVisit(_ReviewView):
    @extend_schema(**_NOTE_SCHEMA)
    def post(self, request: Request, program: str, visit_id: uuid.UUID) -> Response:
        """Give the sheet back to its observer, who is mailed the note."""
        visit = verbs.send_back(
            self.member,
            visit_id,
            note=self.note(),
            revision=self.revision(),
            site_url=request.build_absolute_uri("/"),
        )
        return judged_response(self.member, visit)


class SetAsideVisit(_ReviewView):
    @extend_schema(**_NOTE_SCHEMA)
    def post(self, request: Request, program: str, visit_id: uuid.UUID) -> Response:
        """Keep a visit, but out of review and trends."""
        return judged_response(
            self.member,
            verbs.set_aside(self.member, visit_id, note=self.note(), revision=self.revision()),
        )


class ReopenVisit(_ReviewView):
    @extend_schema(**_NOTE_SCHEMA)
    def post(self, request: Request, program: str, visit_id: uuid.UUID) -> Response:
        """Take an accepted or set-aside visit back into review."""
        return judged_response(
            self.member,
            verbs.reopen(self.member, visit_id, note=self.note(), revision=self.revision()),
        )


class CorrectVisit(_ReviewView):
    @extend_schema(
        parameters=[if_match()],
        request=CorrectionSerializer,
        responses={200: JudgedVisitSerializer, **REFUSABLE_ERRORS},
    )
    def post(self, request: Request, program: str, visit_id: uuid.UUID) -> Response:
        """Correct cells of a submitted sheet; the observer's submission is kept."""
        correction = self.body(CorrectionSerializer)
        visit = verbs.correct_cells(
            self.member,
            visit_id,
            correction["changes"],
            reason=correction["reason"],
            revision=self.revision(),
        )
        return judged_response(self.member, visit)


class ConfirmByEar(_ReviewView):
    @extend_schema(
        parameters=[if_match()],
        request=ConfirmingSerializer,
        responses={200: JudgedVisitSerializer, **REFUSABLE_ERRORS},
    )
    def post(self, request: Request, program: str, visit_id: uuid.UUID) -> Response:
        """Confirm a call by ear from its recording: it becomes a certain detection. Not for visits
        of your own."""
        heard = self.body(ConfirmingSerializer)
        visit = verbs.confirm_by_ear(
            self.member,
            visit_id,
            recording_id=heard["recording"],
            species=heard["species"],
            revision=self.revision(),
        )
        return judged_response(self.member, visit)


class TakeBackConfirmation(_ReviewView):
    @extend_schema(
        parameters=[if_match()],
        request=None,
        responses={200: JudgedVisitSerializer, **CHANGE_ERRORS},
    )
    def post(
        self, request: Request, program: str, visit_id: uuid.UUID, confirmation_id: int
    ) -> Response:
        """Take a confirmation back; the history keeps it."""
        visit = verbs.take_back_confirmation(
            self.member, visit_id, confirmation_id, revision=self.revision()
        )
        return judged_response(self.member, visit)


class SettleFinding(_ReviewView):
    @extend_schema(
        parameters=[if_match()],
        request=SettlementSerializer,
        responses={200: JudgedVisitSerializer, **CHANGE_ERRORS},
    )
    def post(
        self, request: Request, program: str, visit_id: uuid.UUID, finding_id: int
    ) -> Response:
        """Answer a query: it counts, or what it speaks of is excluded from trends."""
        data = self.body(SettlementSerializer)
        visit = find_visit(self.member, visit_id)
        if not visit.findings.filter(pk=finding_id).exists():
            raise Http404(
                gettext("The visit has no such finding. It may have been submitted again.")
            )
        settled = verbs.settle(
            self.member,
            finding_id,
            settlement=data["settlement"],
            reason=data["reason"],
            revision=self.revision(),
        )
        return judged_response(self.member, settled)
