"""The API's one permission class: it asks accounts.access, as the screens do."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rest_framework.permissions import BasePermission

from accounts.access import membership_of, require

if TYPE_CHECKING:
    from rest_framework.request import Request
    from rest_framework.views import APIView


class IsProgrammeMember(BasePermission):
    """The view names a `permission`; the URL names the programme."""

    def has_permission(self, request: Request, view: APIView) -> bool:
        if not request.user.is_authenticated:
            return False
        request.membership = membership_of(request.user, view.kwargs["programme"])
        require(request.membership, view.permission)
        return True
