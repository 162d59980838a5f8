"""Who could go: the members who survey, those who fit best first."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from accounts.models import Membership
from accounts.training import Validity, validity_on
from surveys.models import HelpOffer, Program, Route
from surveys.planning.nearness import meters_to_route
from surveys.programs.assignments import observers_of
from surveys.programs.cover import Away, SeasonPlan, Window, can_go, covers


@dataclass(frozen=True, kw_only=True)
class Candidate:
    """`meters` from the nearest stop that they know, None where they know none; `routes`: how many
    they have this season; `validity`: of the test on the first night left of the windows;
    `away`: whenever they cannot go; `has_route`: assigned to it in all the windows already."""

    member: Membership
    meters: float | None
    validity: Validity
    can_go: bool
    away: Sequence[Away]
    offer: HelpOffer | None
    routes: int
    has_route: bool

    @property
    def knows_the_route(self) -> bool:
        return self.meters == 0


def candidates(
    program: Program,
    route: Route,
    windows: Sequence[Window],
    plan: SeasonPlan,
    today: dt.date,
) -> list[Candidate]:
    """For some windows of a route: those who can go, who offer help there, whose test is valid,
    who are near and have little to do come first. In a fixed number of queries."""
    meters = meters_to_route(program, route.pk)
    busy = Counter(
        member.pk for other in plan.assigned for member in plan.members_on(other) if covers(member)
    )
    offers = {
        offer.member_id: offer
        for offer in HelpOffer.objects.filter(member__program=program, season_year=plan.season_year)
        if offer.region in ("", route.region)
    }
    names = [window.name for window in windows]
    on_route = {
        one.member.pk for one in plan.of_route(route.pk) if all(one.has(name) for name in names)
    }
    night = max(today, min((window.opens for window in windows), default=today))
    found = [
        Candidate(
            member=member,
            meters=meters.get(member.person_id),
            validity=validity_on(member, night),
            can_go=not windows
            or any(
                can_go(plan.away.get(member.pk, ()), window.opens, window.closes, today)
                for window in windows
            ),
            away=plan.away.get(member.pk, ()),
            offer=offers.get(member.pk),
            routes=busy[member.pk],
            has_route=member.pk in on_route,
        )
        for member in observers_of(program)
        if covers(member)
    ]
    return sorted(found, key=_order)


def _order(one: Candidate) -> tuple[object, ...]:
    far = one.meters if one.meters is not None else float("inf")
    return (
        not one.can_go,
        one.offer is None,
        one.validity is not Validity.VALID,
        far,
        one.routes,
        one.member.person.name,
        one.member.pk,
    )
