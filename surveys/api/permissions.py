"""The API's only permission class. It uses accounts.access, as the screens do."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.http import Http404
from rest_framework.exceptions import PermissionDenied
from rest_framework.permissions import BasePermission

from accounts.access import (
    TOKEN_PERMISSIONS,
    enter,
    membership_of,
    must_set_up_second_factor,
    require,
)
from surveys.language import gettext, said

if TYPE_CHECKING:
    from rest_framework.request import Request
    from rest_framework.views import APIView


class IsProgramMember(BasePermission):
    """Checks the view's `permission` in the program of the URL.

    A token is valid only in its own program, and needs both its member's role and its scope to
    allow the permission.
    """

    def has_permission(self, request: Request, view: APIView) -> bool:
        if not request.user.is_authenticated:
            return False
        enter(request, membership_of(request.user, view.kwargs["program"]))
        token = request.auth
        if token is not None and token.membership_id != request.membership.pk:
            raise Http404(gettext("This token is for another program."))
        require(request.membership, view.permission)
        if token is None and must_set_up_second_factor(
            request, request.membership, view.permission
        ):
            raise PermissionDenied(
                gettext("Set up a second step at sign-in first, under your account on the website.")
            )
        if token is not None and view.permission not in TOKEN_PERMISSIONS[token.scope]:
            raise PermissionDenied(
                said(
                    "This token opens “{scope}” only. It does not allow you to {permission}.",
                    scope=token.get_scope_display(),
                    permission=gettext(view.permission.value),
                )
            )
        return True
