"""Return times, as the phone sets them."""

import uuid

from django.core.exceptions import ValidationError as Refusal
from drf_spectacular.utils import extend_schema
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.access import Permission
from surveys.api.base import ProgramView
from surveys.api.describing import CHANGE_ERRORS
from surveys.api.serializers.check_ins import CheckInSerializer, SetCheckInSerializer
from surveys.check_ins.verbs import set_check_in


class CheckInDetail(ProgramView):
    permission = Permission.SURVEY

    @extend_schema(
        request=SetCheckInSerializer, responses={200: CheckInSerializer, **CHANGE_ERRORS}
    )
    def put(self, request: Request, program: str, check_in_id: uuid.UUID) -> Response:
        """Set your return time under an id of your own making, change it, or say that you are
        back. The same request again changes nothing."""
        wanted = self.body(SetCheckInSerializer)
        route = self.route(wanted.pop("route"))
        contact, setter = wanted.pop("contact"), wanted.pop("observer", None)
        try:
            kept = set_check_in(
                self.member,
                check_in_id,
                route=route,
                contact_id=contact,
                set_by_id=setter,
                **wanted,
            )
        except Refusal as refusal:
            if hasattr(refusal, "error_dict"):
                raise ValidationError(refusal.message_dict) from refusal
            raise ValidationError({"back_by": refusal.messages}) from refusal
        return Response(CheckInSerializer(kept).data)
