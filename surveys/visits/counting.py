"""Which parts of an accepted visit count in trends."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from surveys.models import (
    CallIndex,
    ListeningPeriod,
    Settlement,
    StoredFinding,
    Visit,
)
from surveys.protocol.archives import ALSO_AT
from surveys.protocol.values import PeriodStatus


def count_in_trends(visit: Visit, findings: Iterable[StoredFinding]) -> None:
    """Mark everything of a visit as counting that no settlement of its findings leaves out.

    The visit must be locked. It is changed but not saved: the caller saves it as accepted,
    and only rows of accepted visits are used.
    """
    exclude_rows_from_trends([visit.pk])
    left_out = [
        (visit.pk, finding.stop and finding.stop.number, finding.species_id, finding.params)
        for finding in findings
        if finding.settlement == Settlement.LEFT_OUT
    ]
    visit.counts_in_trends = visit.pk in _count([visit.pk], left_out)


def count_many_in_trends(visits: Sequence[uuid.UUID]) -> set[uuid.UUID]:
    """Mark the rows of visits as counting, of which none counted; the visits that count. They
    must be locked."""
    left_out = StoredFinding.objects.filter(visit__in=visits, settlement=Settlement.LEFT_OUT)
    return _count(
        visits, list(left_out.values_list("visit_id", "stop__number", "species_id", "params"))
    )


def _count(
    visits: Sequence[uuid.UUID],
    findings: Sequence[tuple[uuid.UUID, int | None, int | None, Mapping[str, Any]]],
) -> set[uuid.UUID]:
    """A query settled as left out, named here by visit, number of the stop, species and its
    parameters, excludes what it is about: the visit, a stop, or a species at a stop; one of an
    archive may be about several stops. Skipped stops and calls marked as not sure never count."""
    left_out = [
        (visit, each, species)
        for visit, stop, species, params in findings
        for each in (stop, *params.get(ALSO_AT, {}).get("stops", ()))
    ]
    counting = set(visits) - {visit for visit, stop, _ in left_out if stop is None}
    stops = {(visit, stop) for visit, stop, species in left_out if species is None}
    listened = ListeningPeriod.objects.filter(
        visit__in=counting, status=PeriodStatus.LISTENED.value
    ).values_list("pk", "visit_id", "stop__number")
    periods = {(visit, stop): pk for pk, visit, stop in listened if (visit, stop) not in stops}
    # By primary key: the planner picks a very slow plan for an update through a join when the
    # statistics are stale.
    keys = list(periods.values())
    ListeningPeriod.objects.filter(pk__in=keys).update(counts_in_trends=True)
    without = {
        (periods[visit, stop], species)
        for visit, stop, species in left_out
        if species is not None and (visit, stop) in periods
    }
    calls = CallIndex.objects.filter(period__in=keys, not_sure=False)
    if without:
        of_species = calls.filter(
            period__in=[period for period, _ in without],
            species__in=[species for _, species in without],
        ).values_list("pk", "period_id", "species_id")
        calls = calls.exclude(pk__in=[pk for pk, *call in of_species if tuple(call) in without])
    calls.update(counts_in_trends=True)
    return counting


def exclude_from_trends(visit: Visit) -> None:
    """Take the visit (not saved) and its dependent rows out of trends."""
    visit.counts_in_trends = False
    exclude_rows_from_trends([visit.pk])


def exclude_rows_from_trends(visits: Sequence[uuid.UUID]) -> None:
    """Take the dependent rows of visits out of trends."""
    periods = list(ListeningPeriod.objects.filter(visit__in=visits).values_list("pk", flat=True))
    ListeningPeriod.objects.filter(pk__in=periods, counts_in_trends=True).update(
        counts_in_trends=False
    )
    CallIndex.objects.filter(period__in=periods, counts_in_trends=True).update(
        counts_in_trends=False
    )
