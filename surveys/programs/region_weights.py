"""What each region counts in what is told of the whole program."""

import zlib
from collections.abc import Mapping
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.db import transaction

from accounts.access import Permission, require
from accounts.edit_conflicts import Facts, Seen, check_seen
from accounts.models import Membership
from surveys.language import gettext
from surveys.models import Program


def regions_of(program: Program) -> list[str]:
    """The regions of its routes, retired ones included."""
    named = program.routes.exclude(region="").order_by("region")
    return list(named.values_list("region", flat=True).distinct())


def field_of(region: str) -> str:
    """The name of a region's field in forms and errors: it may hold any character itself."""
    return f"region_{zlib.crc32(region.encode()):08x}"


def typed(weight: float | None) -> str:
    """A weight as somebody types it: `310` and not `310.0`."""
    return "" if weight is None else f"{weight:.3f}".rstrip("0").rstrip(".")


def weight_facts(program: Program) -> Facts:
    """What the form of the weights shows."""
    weights = {region: typed(program.region_weights.get(region)) for region in regions_of(program)}
    return {gettext("What the weights are"): program.weights_are, **weights}


@transaction.atomic
def weigh_regions(
    member: Membership,
    weights: Mapping[str, Decimal | None],
    *,
    weights_are: str,
    seen: Seen | None = None,
) -> Program:
    """Give every region a weight, or none to any; 0 leaves a region out of the whole.

    Raises ValidationError by field, EditConflict.
    """
    require(member, Permission.MANAGE)
    program = Program.objects.select_for_update().get(pk=member.program_id)
    check_seen(member, seen, weight_facts(program), [program.events.all()])
    given = {region: weights.get(region) for region in regions_of(program)}
    known = {region: float(weight) for region, weight in given.items() if weight is not None}
    if known:
        _check(given, weights_are)
    program.region_weights = known
    program.weights_are = weights_are.strip() if known else ""
    program.full_clean()
    program.save()
    return program


def _check(given: Mapping[str, Decimal | None], weights_are: str) -> None:
    missing = gettext("Give every region a weight, or none to any. 0 leaves a region out.")
    negative = gettext("A weight is 0 or more.")
    wrong = {
        field_of(region): missing if weight is None else negative
        for region, weight in given.items()
        if weight is None or weight < 0
    }
    if not wrong and not any(given.values()):
        one = gettext("At least one region needs a weight above 0.")
        wrong = {field_of(region): one for region in given}
    if not weights_are.strip():
        wrong["weights_are"] = gettext(
            "Say what the weights are, so that readers can judge them: such as wetlands on the map."
        )
    if wrong:
        raise ValidationError(wrong)
