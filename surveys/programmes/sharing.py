"""What leaves the house: how exact places are, who sees publications, and on which terms."""

from django.db import transaction

from accounts.access import Permission, require
from accounts.meanwhile import Facts, Seen, check_seen
from accounts.models import Membership
from surveys.models import Programme
from surveys.models.programme import new_key
from surveys.protocol.countries import countries


def sharing_facts(programme: Programme) -> Facts:
    """What the form of sharing shows."""
    return {
        "Places are published": programme.get_place_sharing_display(),
        "Publications are seen by": programme.get_publication_reach_display(),
        "Licence of the data": programme.get_data_licence_display(),
        "Country": countries().get(programme.country_code, "") or "not given",
    }


@transaction.atomic
def change_sharing(
    member: Membership,
    *,
    place_sharing: int,
    publication_reach: str,
    data_licence: str,
    country_code: str,
    seen: Seen | None = None,
) -> Programme:
    """Hold for what is published from now on; who sees it changes at once, for all of it.

    Raises ValidationError by field, ChangedMeanwhile.
    """
    programme = _locked(member)
    check_seen(member, seen, sharing_facts(programme), [programme.events.all()])
    programme.place_sharing = place_sharing
    programme.publication_reach = publication_reach
    programme.data_licence = data_licence
    programme.country_code = country_code
    programme.full_clean()
    programme.save()
    return programme


@transaction.atomic
def renew_link(member: Membership) -> Programme:
    """Give publications a new link. The one before opens nothing any more."""
    programme = _locked(member)
    programme.publication_key = new_key()
    programme.save()
    return programme


def _locked(member: Membership) -> Programme:
    require(member, Permission.MANAGE)
    return Programme.objects.select_for_update().get(pk=member.programme_id)
