"""A programme's beginning and its facts."""

from dataclasses import dataclass

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Exists, OuterRef

from accounts.access import Permission, require
from accounts.invitations import Issued, issue
from accounts.meanwhile import Facts, Seen, check_seen
from accounts.models import Membership, Role
from surveys.models import Programme, Stop, Visit

# The first part of addresses that do not belong to a programme.
RESERVED_SLUGS = frozenset(
    {
        "accounts",
        "api",
        "guide",
        "healthz",
        "invitation",
        "media",
        "published",
        "static",
        "theme",
        "your-name",
    }
)


@dataclass(frozen=True, kw_only=True)
class Standing:
    """How far a programme is set up: what there is of each part."""

    protocols: int
    routes: int
    routes_without_stops: int
    species: int
    observers: int
    assigned_routes: int


def standing(programme: Programme, season_year: int) -> Standing:
    routes = programme.routes.filter(active=True)
    return Standing(
        protocols=programme.protocols.count(),
        routes=routes.count(),
        routes_without_stops=routes.exclude(
            Exists(Stop.objects.filter(route=OuterRef("pk"), active_until=None))
        ).count(),
        species=programme.checklist.filter(listed_until=None).count(),
        observers=programme.memberships.filter(active=True, role=Role.OBSERVER).count(),
        assigned_routes=routes.filter(assignments__season_year=season_year).distinct().count(),
    )


@transaction.atomic
def start_programme(
    *,
    name: str,
    slug: str,
    time_zone: str,
    coordinator_email: str,
    coordinator_name: str = "",
    contact_email: str = "",
    region: str = "",
    temperature_unit: str = "C",
    distance_unit: str = "km",
    site_url: str,
) -> Issued:
    """Make a programme and invite its first coordinator.

    For whoever runs the installation; there is no member yet. `contact_email` is public,
    every publication shows it; the coordinator's own address is not taken for it unasked.
    Raises ValidationError with a message for each field that cannot be.
    """
    if slug in RESERVED_SLUGS:
        raise ValidationError({"slug": f"“{slug}” is kept for the application. Choose another."})
    programme = Programme(
        name=name.strip(),
        slug=slug,
        region=region.strip(),
        time_zone=time_zone,
        temperature_unit=temperature_unit,
        distance_unit=distance_unit,
        contact_email=contact_email.strip().lower(),
    )
    programme.full_clean()
    programme.save()
    return issue(
        programme,
        email=coordinator_email,
        name=coordinator_name,
        role=Role.COORDINATOR,
        site_url=site_url,
        invited_by=None,
    )


def programme_facts(programme: Programme) -> Facts:
    """What the form of a programme's facts shows."""
    return {
        "Name": programme.name,
        "Region": programme.region,
        "Time zone": programme.time_zone,
        "Temperatures in": programme.get_temperature_unit_display(),
        "Distances in": programme.get_distance_unit_display(),
        "Contact e-mail": programme.contact_email,
        "Local rules": programme.local_rules,
    }


@transaction.atomic
def change_facts(
    member: Membership,
    *,
    name: str,
    region: str,
    time_zone: str,
    temperature_unit: str,
    distance_unit: str,
    contact_email: str,
    local_rules: str,
    seen: Seen | None = None,
) -> Programme:
    """Change what a programme says of itself. Its address (slug) stays for good.

    Raises ValidationError by field, ChangedMeanwhile.
    """
    require(member, Permission.MANAGE)
    programme = Programme.objects.select_for_update().get(pk=member.programme_id)
    check_seen(member, seen, programme_facts(programme), [programme.events.all()])
    _check_time_zone(programme, time_zone)
    programme.name = name
    programme.region = region
    programme.time_zone = time_zone
    programme.temperature_unit = temperature_unit
    programme.distance_unit = distance_unit
    programme.contact_email = contact_email
    programme.local_rules = local_rules
    programme.full_clean()
    programme.save()
    return programme


def _check_time_zone(programme: Programme, time_zone: str) -> None:
    """Clock times on sheets were typed in the zone: with another one they would mean
    other moments."""
    changed = time_zone != programme.time_zone
    if changed and Visit.objects.filter(route__programme=programme).exists():
        raise ValidationError(
            {
                "time_zone": f"Visits have been entered in {programme.time_zone}. With another "
                "zone their clock times would be wrong, so the zone can no longer change."
            }
        )
