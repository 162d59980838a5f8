"""What stands out in waiting visits: loaded, compared, and stored until their route changes."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import asdict, replace
from typing import Any

from django.conf import settings
from django.db import transaction
from django.db.models import Count, Exists, Max, OuterRef, Q, QuerySet
from procrastinate.contrib.django import app
from procrastinate.exceptions import AlreadyEnqueued

from accounts.access import Permission, require
from accounts.models import Membership
from surveys import site_mode
from surveys.language import gettext_noop as _
from surveys.language import said
from surveys.models import (
    ListeningPeriod,
    Route,
    Species,
    Stop,
    StoredFinding,
    Visit,
    VisitOddness,
    VisitState,
)
from surveys.models.visit import DistanceOfCalls
from surveys.protocol.oddness import Night, Oddity, Reason, reasons, score
from surveys.protocol.values import PeriodStatus
from surveys.protocol.words import stop_numbers
from surveys.runs.queues import SHORT

# Records that say something of the route: what waits, and what was accepted.
COMPARED = (VisitState.SUBMITTED, VisitState.ACCEPTED)
# Most routes that one look at the queue compares anew: about a tenth of a second.
ROUTES_AT_ONCE = 40


def compare_waiting(member: Membership, *, most_routes: int = ROUTES_AT_ONCE) -> None:
    """Compare the waiting visits of routes that changed since. Where too many did, as after an
    import, the worker goes on with the rest.

    Does nothing while the site is read-only.
    """
    require(member, Permission.REVIEW)
    if not site_mode.is_open(settings.SITE_MODE_FILE):
        return
    changed = _changed_routes(member.program_id)
    _compare(dict(changed[:most_routes]))
    if len(changed) > most_routes:
        with suppress(AlreadyEnqueued), transaction.atomic():
            compare_rest.configure(queueing_lock=f"compare-{member.program_id}").defer(
                program_id=member.program_id
            )


def waits_for_comparison(member: Membership) -> bool:
    """Whether there are waiting visits that were not compared with their route as it is now. Only
    looks, in two queries."""
    require(member, Permission.REVIEW)
    return site_mode.is_open(settings.SITE_MODE_FILE) and bool(_changed_routes(member.program_id))


@app.periodic(cron="* * * * *")
@app.task(name="visits.compare_changed", queue=SHORT, queueing_lock="comparing waiting visits")
def compare_changed(timestamp: int) -> None:
    """Every minute, so that the queue is in order when a coordinator opens it."""
    if not site_mode.is_open(settings.SITE_MODE_FILE):
        return
    waiting = Visit.objects.filter(state=VisitState.SUBMITTED).order_by()
    for program_id in waiting.values_list("route__program", flat=True).distinct():
        compare_rest(program_id=program_id)


@app.task(name="visits.compare_rest", queue=SHORT)
def compare_rest(*, program_id: int) -> None:
    changed = _changed_routes(program_id)
    for first in range(0, len(changed), ROUTES_AT_ONCE):
        _compare(dict(changed[first : first + ROUTES_AT_ONCE]))


def _changed_routes(program_id: int) -> list[tuple[int, dict[str, Any]]]:
    """Routes with a waiting visit that was not compared with the visits as they are now."""
    compared = Q(visits__state__in=COMPARED)
    stamps = {
        row["pk"]: {"route_visits": row["number"], "route_changed_at": row["last"]}
        for row in Route.objects.filter(
            Exists(Visit.objects.filter(route=OuterRef("pk"), state=VisitState.SUBMITTED)),
            program=program_id,
        )
        .order_by("pk")
        .values("pk")
        .annotate(
            number=Count("visits", filter=compared), last=Max("visits__changed_at", filter=compared)
        )
    }
    waiting = Visit.objects.filter(route__program=program_id, state=VisitState.SUBMITTED)
    known: dict[int, set[tuple[Any, Any]]] = defaultdict(set)
    for route_id, number, last in (
        waiting.values_list("route", "oddness__route_visits", "oddness__route_changed_at")
        .order_by()
        .distinct()
    ):
        known[route_id].add((number, last))
    return [(pk, stamp) for pk, stamp in stamps.items() if known.get(pk) != {tuple(stamp.values())}]


def _compare(stamps: Mapping[int, Mapping[str, Any]]) -> None:
    """Store what stands out in the waiting visits of routes, by their stamps."""
    visits = Visit.objects.filter(route__in=stamps, state__in=COMPARED)
    heard = _heard(visits)
    out_of_season = _out_of_season(visits)
    numbers = dict(Stop.objects.filter(route__in=stamps).values_list("pk", "number"))
    on_route: dict[int, dict[Any, Night]] = defaultdict(dict)
    waiting = []
    for visit in visits.only("route", "night", "observer", "state"):
        on_route[visit.route_id][visit.pk] = Night(
            night=visit.night, observer=visit.observer_id, heard=heard.get(visit.pk, {})
        )
        if visit.state == VisitState.SUBMITTED:
            waiting.append(visit)
    rows = []
    for visit in waiting:
        nights = on_route[visit.route_id]
        others = (night for pk, night in nights.items() if pk != visit.pk)
        found = reasons(nights[visit.pk], others, out_of_season.get(visit.pk, ()))
        told = [
            asdict(replace(one, stops=tuple(sorted(numbers[stop] for stop in one.stops))))
            for one in found
        ]
        stamp = stamps[visit.route_id]
        rows.append(VisitOddness(visit=visit, score=score(found), reasons=told, **stamp))
    VisitOddness.objects.bulk_create(
        rows,
        update_conflicts=True,
        unique_fields=["visit"],
        update_fields=["score", "reasons", "route_visits", "route_changed_at"],
    )


def _heard(visits: QuerySet[Visit]) -> dict[Any, dict[int, dict[str, int | None]]]:
    """By visit and stop: the call indexes. Far calls and those not known for sure say nothing."""
    heard: dict[Any, dict[int, dict[str, int | None]]] = defaultdict(dict)
    listened = ListeningPeriod.objects.filter(
        visit__in=visits, status=PeriodStatus.LISTENED.value
    ).order_by()
    for visit, stop, species, index, distance in listened.values_list(
        "visit", "stop", "calls__species__code", "calls__index", "calls__distance"
    ):
        at = heard[visit].setdefault(stop, {})
        if species is not None:
            at[species] = None if distance == DistanceOfCalls.FAR else index
    return heard


def _out_of_season(visits: QuerySet[Visit]) -> dict[Any, list[tuple[int, str]]]:
    asked: dict[Any, list[tuple[int, str]]] = defaultdict(list)
    for visit, stop, species in StoredFinding.objects.filter(
        visit__in=visits, code="species-out-of-season", stop__isnull=False, species__isnull=False
    ).values_list("visit", "stop", "species__code"):
        asked[visit].append((stop, species))
    return asked


def told_reasons(visits: Iterable[Visit]) -> dict[Any, list[str]]:
    """By visit, its reasons as sentences. One query more than those of `visits`."""
    stored = {
        visit.pk: [_reason(row) for row in visit.oddness.reasons]
        for visit in visits
        if getattr(visit, "oddness", None)
    }
    codes = {reason.species for found in stored.values() for reason in found}
    names = {row.code: row.name for row in Species.objects.filter(code__in=codes)} if codes else {}
    return {pk: [tell(reason, names) for reason in found] for pk, found in stored.items()}


def _reason(row: Mapping[str, Any]) -> Reason:
    return Reason(**{**row, "oddity": Oddity(row["oddity"]), "stops": tuple(row["stops"])})


_SENTENCES = {
    Oddity.FIRST_ON_ROUTE: _("First {species} on this route: {stops}, call index {index}."),
    Oddity.OUT_OF_SEASON: _("{species} outside its calling season: {stops}."),
    Oddity.UNLIKE_SECOND_OBSERVER: _(
        "{species}: another observer on the same night wrote something else down, {stops}."
    ),
    Oddity.INDEX_JUMP: _(
        "{species} with call index {index}: {stops}. Never above {before} there before."
    ),
    Oddity.UNLIKE_STOP: _(
        "{species} not heard: {stops}. It was heard there on most visits at this time of year."
    ),
}


_NEVER_HEARD = _("{species} with call index {index}: {stops}. Not heard there before.")


def tell(reason: Reason, names: Mapping[str, str]) -> str:
    is_first = reason.oddity is Oddity.INDEX_JUMP and not reason.before
    return said(
        _NEVER_HEARD if is_first else _SENTENCES[reason.oddity],
        species=names.get(reason.species, reason.species),
        stops=stop_numbers(reason.stops),
        index=reason.index,
        before=reason.before,
    )
