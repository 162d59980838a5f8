"""Answers in practice with calls, as the phone gives them."""

import uuid

from django.core.exceptions import ValidationError as Refusal
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.access import Permission
from surveys.api.base import ProgramView
from surveys.api.describing import ERRORS
from surveys.api.serializers.practice import (
    GivePracticeAnswerSerializer,
    PracticeAnswerSerializer,
)
from surveys.learning.phone import answer_from_phone, plain_tallies


class PracticeAnswerDetail(ProgramView):
    permission = Permission.READ_SEASONS

    @extend_schema(
        request=GivePracticeAnswerSerializer,
        responses={200: PracticeAnswerSerializer, **ERRORS},
    )
    def put(self, request: Request, program: str, practice_answer_id: uuid.UUID) -> Response:
        """Store your answer to a practice question, under an id of your own making. The same
        request again changes nothing. Only you can read your answers."""
        wanted = self.body(GivePracticeAnswerSerializer)
        person = wanted.pop("observer", None)
        try:
            kept = answer_from_phone(
                self.member, practice_answer_id, answered_by_id=person, **wanted
            )
        except Refusal as refusal:
            raise ValidationError(refusal.message_dict) from refusal
        kept.tallies, kept.told_at = plain_tallies(self.member), timezone.now()
        return Response(PracticeAnswerSerializer(kept).data)
