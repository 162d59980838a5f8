"""What leaves the house: how exact places are, who sees publications, and on which terms."""

from django.db import transaction

from accounts.access import (
    Permission,
    require,
)
from accounts.edit_conflicts import (
    Facts,
    Seen,
    check_seen,
)
from accounts.models import Membership
from surveys.language import gettext
from surveys.models import Program
from surveys.models.program import new_key


def sharing_facts(program: Program) -> Facts:
    """What the form of sharing shows."""
    return {
        gettext("Locations are published"): program.get_place_sharing_display(),
        gettext("Publications are seen by"): program.get_publication_audience_display(),
        gettext("License of the data"): program.get_data_license_display(),
    }


@transaction.atomic
def change_sharing(
    member: Membership,
    *,
    place_sharing: int,
    publication_audience: str,
    data_license: str,
    seen: Seen | None = None,
) -> Program:
    """Hold for what is published from now on; who sees it changes at once, for all of it.

    Raises ValidationError by field, EditConflict.
    """
    program = _locked(member)
    check_seen(member, seen, sharing_facts(program), [program.events.all()])
    program.place_sharing = place_sharing
    program.publication_audience = publication_audience
    program.data_license = data_license
    program.full_clean()
    program.save()
    return program


@transaction.atomic
def renew_link(member: Membership) -> Program:
    """Give publications a new link. The one before opens nothing any more."""
    program = _locked(member)
    program.publication_key = new_key()
    program.save()
    return program


def _locked(member: Membership) -> Program:
    require(member, Permission.MANAGE)
    return Program.objects.select_for_update().get(pk=member.program_id)
