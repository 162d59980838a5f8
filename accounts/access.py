"""Who may do what in a program. The one place where roles become permissions.

A view asks for a permission, never for a role. People who are not members get a 404,
so that probing a URL does not reveal which programs exist.
"""

from collections.abc import Callable
from enum import StrEnum
from functools import wraps

from allauth.mfa.models import Authenticator
from django.conf import settings
from django.contrib.auth import SESSION_KEY
from django.core.exceptions import PermissionDenied
from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect

from accounts.models import (
    AccessToken,
    Membership,
    Person,
    Role,
    Scope,
)
from surveys import dates
from surveys.language import gettext, gettext_noop, said

# Cookie with the slug of the program opened last: pages outside any program, such as the
# guide, show its navigation.
LAST_PROGRAM = "program"
# In the session of somebody who signed in without the second step that they need.
SECOND_FACTOR_DUE = "second_factor_due"


class Permission(StrEnum):
    SURVEY = gettext_noop("enter visits")
    REVIEW = gettext_noop("review visits")
    MANAGE = gettext_noop("set up the program")
    PUBLISH = gettext_noop("publish")
    READ_SEASONS = gettext_noop("read seasons, with observers")
    READ_RESULTS = gettext_noop("read trends and publications")
    READ_RECORDS = gettext_noop("read the records of accepted visits")


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

# The most that a token of each scope can open. Tokens are read-only.
TOKEN_PERMISSIONS: dict[str, frozenset[Permission]] = {
    Scope.RESULTS.value: frozenset({Permission.READ_RESULTS}),
    Scope.RECORDS.value: frozenset({Permission.READ_RESULTS, Permission.READ_RECORDS}),
    Scope.EXACT.value: frozenset({Permission.READ_RESULTS, Permission.READ_RECORDS}),
}


def may(membership: Membership, permission: Permission) -> bool:
    return membership.active and permission in PERMISSIONS[membership.role]


def require(membership: Membership, permission: Permission) -> None:
    """Raise PermissionDenied, with a sentence for the user, when the role does not allow it."""
    if not may(membership, permission):
        raise PermissionDenied(
            said(
                "Your role here ({role}) does not allow you to {act}. Ask a coordinator of the "
                "program.",
                role=membership.get_role_display().lower(),
                act=gettext(permission.value),
            )
        )


def may_have_exact_places(membership: Membership, token: AccessToken | None = None) -> bool:
    """Whether this member may download the exact places of stops. A token must also have the
    scope for it."""
    if not membership.active or (token is not None and token.scope != Scope.EXACT):
        return False
    return membership.exact_places or may(membership, Permission.MANAGE)


# --- The second step at sign-in ---------------------------------------------------
#
# Coordinators and people who may have exact places need one. They are led to its set-up at their
# next sign-in. A session that was there before still takes what its forms hold, but opens no
# further page of a coordinator.

_FOR_COORDINATORS = (Permission.REVIEW, Permission.MANAGE, Permission.PUBLISH)


def second_factors(person: Person) -> QuerySet[Authenticator]:
    """Recovery codes alone are no second step."""
    types = (Authenticator.Type.TOTP, Authenticator.Type.WEBAUTHN)
    return Authenticator.objects.filter(user=person, type__in=types)


def needs_second_factor(membership: Membership) -> bool:
    return settings.SECOND_FACTOR_REQUIRED and may_have_exact_places(membership)


def lacks_second_factor(membership: Membership) -> bool:
    return needs_second_factor(membership) and not second_factors(membership.person).exists()


def must_set_up_second_factor(
    request: HttpRequest, membership: Membership, permission: Permission
) -> bool:
    """Whether this request is refused until its person has set up a second step."""
    if not lacks_second_factor(membership):
        return False
    opens_page = request.method in ("GET", "HEAD") and permission in _FOR_COORDINATORS
    return opens_page or SECOND_FACTOR_DUE in request.session


# --- Operators --------------------------------------------------------------------
#
# They run the site and need no role in any program; what they see of programs is what has failed.


def is_operator(person: Person) -> bool:
    """`Person.email` is always a confirmed address."""
    return person.is_active and person.email.lower() in settings.OPERATORS


def needs_operator(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """Restrict a view to operators who have a second step. To others it does not exist."""

    @wraps(view)
    def guarded(request: HttpRequest, **kwargs: object) -> HttpResponse:
        if not is_operator(request.user):
            raise Http404
        if settings.SECOND_FACTOR_REQUIRED and not second_factors(request.user).exists():
            return redirect("mfa_index")
        return view(request, **kwargs)

    return guarded


def last_membership(request: HttpRequest) -> Membership | None:
    """The active membership in the program that was opened last, if there is one."""
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
        raise Http404(gettext("There is no such program, or you are not a member of it."))
    return membership


def has_ended(request: HttpRequest, program_slug: str) -> bool:
    """Whether the request comes from somebody who was a member of the program and is none now, or
    whose account was closed since they signed in."""
    if request.user.is_authenticated:
        memberships = Membership.objects.filter(person=request.user, program__slug=program_slug)
        return list(memberships.values_list("active", flat=True)) == [False]
    person = request.session.get(SESSION_KEY)
    return person is not None and Person.objects.filter(pk=person, is_active=False).exists()


def enter(request: HttpRequest, membership: Membership) -> None:
    """From here on the request is one of this member, and dates are written as in the program."""
    request.membership = membership
    dates.use(membership.program.date_style)


class ProgramRequest(HttpRequest):
    """A request that has passed `needs`, with the membership it found."""

    membership: Membership
    user: Person


def needs(permission: Permission) -> Callable:
    """Restrict a view to members with `permission`.

    The URL passes the program's slug as `program`. The view is called without it, with the
    membership (and through it the program) as `request.membership`.
    """

    def decorate(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
        @wraps(view)
        def guarded(request: HttpRequest, program: str, **kwargs: object) -> HttpResponse:
            membership = membership_of(request.user, program)
            require(membership, permission)
            if must_set_up_second_factor(request, membership, permission):
                request.session[SECOND_FACTOR_DUE] = True
                return redirect("mfa_index")
            enter(request, membership)
            response = view(request, **kwargs)
            if request.COOKIES.get(LAST_PROGRAM) != program:
                response.set_cookie(
                    LAST_PROGRAM,
                    program,
                    samesite="Lax",
                    httponly=True,
                    secure=settings.SESSION_COOKIE_SECURE or request.is_secure(),
                )
            return response

        guarded.permission = permission
        return guarded

    return decorate
