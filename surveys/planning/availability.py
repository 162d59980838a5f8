"""When an observer cannot go, and whether they would go for others."""

from __future__ import annotations

import datetime as dt

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import QuerySet
from django.shortcuts import get_object_or_404

from accounts.access import Permission, require
from accounts.models import Membership
from surveys import dates
from surveys.language import gettext, said
from surveys.models import Absence, HelpOffer
from surveys.programs.assignments import today_of
from surveys.programs.cover import SURVEYING_ROLES

LONGEST = dt.timedelta(days=366)


def absences_ahead(member: Membership) -> QuerySet[Absence]:
    """Those that are not over, the earliest first."""
    return member.absences.filter(last__gte=today_of(member.program))


def all_absences_ahead(member: Membership) -> QuerySet[Absence]:
    """Those of everybody who surveys, for coordinators; the earliest first."""
    require(member, Permission.MANAGE)
    ahead = Absence.objects.filter(
        member__program=member.program,
        member__active=True,
        member__role__in=SURVEYING_ROLES,
        last__gte=today_of(member.program),
    )
    return ahead.select_related("member__person").order_by("first", "member__person__name", "pk")


@transaction.atomic
def add_absence(member: Membership, *, first: dt.date, last: dt.date, note: str = "") -> Absence:
    """Say that one cannot go on these nights, both included. Raises ValidationError by field."""
    require(member, Permission.SURVEY)
    if last < first:
        raise ValidationError({"last": gettext("The last night is before the first. Swap them.")})
    if last < today_of(member.program):
        raise ValidationError({"last": gettext("These nights are over. Choose nights ahead.")})
    if last - first > LONGEST:
        raise ValidationError(
            {"last": gettext("Choose at most a year. If you have left, tell your coordinator.")}
        )
    Membership.objects.select_for_update().get(pk=member.pk)
    known = member.absences.filter(first__lte=last, last__gte=first).first()
    if known is not None:
        raise ValidationError(
            {
                "first": said(
                    "You have already said that you cannot go from {first} to {last}. Delete "
                    "that first, or choose other nights.",
                    first=dates.day(known.first),
                    last=dates.day(known.last),
                )
            }
        )
    absence = Absence(member=member, first=first, last=last, note=note.strip())
    absence.full_clean(exclude=["member"])
    absence.save()
    return absence


def remove_absence(member: Membership, absence_id: int) -> Absence:
    """One's own only. Raises Http404."""
    require(member, Permission.SURVEY)
    absence = get_object_or_404(member.absences, pk=absence_id)
    gone = absence.pk
    absence.delete()
    absence.pk = gone
    return absence


@transaction.atomic
def offer_help(
    member: Membership, *, season_year: int, region: str = "", note: str = ""
) -> HelpOffer:
    """Offer to go where somebody is missing; a new offer takes the place of the one before.

    Raises ValidationError by field.
    """
    require(member, Permission.SURVEY)
    if region and region not in regions_of(member):
        raise ValidationError({"region": gettext("Choose a region from the list.")})
    offer = HelpOffer(member=member, season_year=season_year, region=region, note=note.strip())
    offer.full_clean(exclude=["member"], validate_unique=False, validate_constraints=False)
    offer, _ = HelpOffer.objects.update_or_create(
        member=member,
        season_year=season_year,
        defaults={"region": offer.region, "note": offer.note},
    )
    return offer


def withdraw_offer(member: Membership, season_year: int) -> None:
    require(member, Permission.SURVEY)
    member.help_offers.filter(season_year=season_year).delete()


def regions_of(member: Membership) -> list[str]:
    """The regions of the program's active routes, by name."""
    regions = member.program.routes.filter(active=True).exclude(region="")
    return sorted(set(regions.values_list("region", flat=True)))
