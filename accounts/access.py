"""Who may do what in a program. The one place where roles become permissions.

A view asks for a permission, never for a role. Somebody who is not a member is
told that the page does not exist, so that a program's name gives nothing away.
"""

from collections.abc import Callable
from enum import StrEnum
from functools import wraps

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse

from accounts.models import (
    AccessToken,
    Membership,
    Person,
    Role,
    Scope,
)

# Cookie: pages outside any program, such as the guide, keep its navigation.
LAST_PROGRAM = "program"


class Permission(StrEnum):
    SURVEY = "enter visits"
    REVIEW = "review visits"
    MANAGE = "set up the program"
    PUBLISH = "publish"
    READ_SEASONS = "read seasons, with observers"
    READ_RESULTS = "read trends and publications"
    READ_RECORDS = "read the records of accepted visits"


PERMISSIONS: dict[str, frozenset[Permission]] = {
    Role.OBSERVER.value: frozenset(
        {
            Permission.SURVEY,
            Permission.READ_SEASONS,
            Permission.READ_RESULTS,
            Permission.READ_RECORDS,
        }
    ),
    Role.COORDINATOR.value: frozenset(Permission),
    Role.PARTNER.value: frozenset({Permission.READ_RESULTS, Permission.READ_RECORDS}),
}

# What a token opens at most; it never changes anything.
TOKEN_PERMISSIONS: dict[str, frozenset[Permission]] = {
    Scope.RESULTS.value: frozenset({Permission.READ_RESULTS}),
    Scope.RECORDS.value: frozenset({Permission.READ_RESULTS, Permission.READ_RECORDS}),
    Scope.EXACT.value: frozenset({Permission.READ_RESULTS, Permission.READ_RECORDS}),
}


def may(membership: Membership, permission: Permission) -> bool:
    return membership.active and permission in PERMISSIONS[membership.role]


def require(membership: Membership, permission: Permission) -> None:
    """Raise PermissionDenied, in words, when the role does not allow it."""
    if not may(membership, permission):
        raise PermissionDenied(
            f"Your role here ({membership.get_role_display().lower()}) does not allow you to "
            f"{permission.value}. Ask a coordinator of the program."
        )


def may_have_exact_places(membership: Membership, token: AccessToken | None = None) -> bool:
    """Whether exact places of stops may leave the house with this member. Through a token
    only when its scope names them, too."""
    if not membership.active or (token is not None and token.scope != Scope.EXACT):
        return False
    return membership.exact_places or may(membership, Permission.MANAGE)


def last_membership(request: HttpRequest) -> Membership | None:
    """The membership in the program that was open last, as long as it holds."""
    slug = request.COOKIES.get(LAST_PROGRAM)
    if slug is None or not request.user.is_authenticated:
        return None
    return (
        Membership.objects.select_related("program")
        .filter(person=request.user, program__slug=slug, active=True)
        .first()
    )


def membership_of(person: Person, program_slug: str) -> Membership:
    """The active membership, with its program. Raises Http404 for outsiders."""
    membership = (
        Membership.objects.select_related("program", "person")
        .filter(person=person, program__slug=program_slug, active=True)
        .first()
    )
    if membership is None:
        raise Http404("There is no such program, or you are not a member of it.")
    return membership


class ProgramRequest(HttpRequest):
    """A request that has passed `needs`: it knows its member."""

    membership: Membership
    user: Person


def needs(permission: Permission) -> Callable:
    """Let a view `view(request, program, …)` be reached by members with `permission`.

    The URL gives the program's slug as `program`; the view finds the
    membership (and through it the program) on the request.
    """

    def decorate(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
        @wraps(view)
        def guarded(request: HttpRequest, program: str, **kwargs: object) -> HttpResponse:
            membership = membership_of(request.user, program)
            require(membership, permission)
            request.membership = membership
            response = view(request, **kwargs)
            if request.COOKIES.get(LAST_PROGRAM) != program:
                response.set_cookie(LAST_PROGRAM, program, samesite="Lax", httponly=True)
            return response

        guarded.permission = permission
        return guarded

    return decorate
