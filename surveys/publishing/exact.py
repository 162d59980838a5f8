"""Exact places that leave the house: who may have them, and the note that each one leaves."""

from django.conf import settings
from django.core.exceptions import PermissionDenied
from django.db.models import QuerySet

from accounts.access import lacks_second_factor, may_have_exact_places
from accounts.models import (
    AccessToken,
    Membership,
)
from surveys import site_mode
from surveys.language import gettext
from surveys.models import (
    ExactDownload,
    Program,
)

_LONGEST_PATH = ExactDownload._meta.get_field("path").max_length
_LONGEST_WHAT = ExactDownload._meta.get_field("what").max_length


def note_exact_download(
    member: Membership, *, what: str, path: str, token: AccessToken | None = None
) -> ExactDownload:
    """Note that a member takes exact places away, before the first byte goes out.

    `what` says in words what is taken, `path` is the address asked for. Raises
    PermissionDenied for a member, or a token, without the right, and SiteIsReadOnly while
    no note can be kept.
    """
    if not may_have_exact_places(member, token):
        raise PermissionDenied(
            gettext(
                "Exact locations are only for people to whom a coordinator of the program gave "
                "that right."
            )
        )
    if lacks_second_factor(member):
        raise PermissionDenied(
            gettext(
                "Exact locations need a second step at sign-in. Set one up under your account, "
                "then try again."
            )
        )
    if not site_mode.is_open(settings.SITE_MODE_FILE):
        raise site_mode.SiteIsReadOnly
    return ExactDownload.objects.create(
        program=member.program,
        person=member.person,
        what=what[:_LONGEST_WHAT],
        path=path[:_LONGEST_PATH],
        by_token=token.name if token else "",
    )


def exact_downloads(program: Program) -> QuerySet[ExactDownload]:
    """Who took what, latest first."""
    return program.exact_downloads.select_related("person").order_by("-at", "-pk")
