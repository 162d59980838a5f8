"""What of an accepted visit counts in trends."""

from __future__ import annotations

from collections.abc import Iterable

from surveys.models import (
    CallIndex,
    Settlement,
    StoredFinding,
    Visit,
)
from surveys.protocol.values import PeriodStatus


def count_in_trends(visit: Visit, findings: Iterable[StoredFinding]) -> None:
    """Let everything count that no settlement leaves out. The visit is locked and
    becomes accepted; it is not saved here, but must be before its rows can matter.

    A query left out takes with it what it speaks of: the visit, one stop, or one
    species at one stop. What nobody listened to and what nobody was sure of never counts.
    """
    left_out = [f for f in findings if f.settlement == Settlement.LEFT_OUT]
    visit.counts_in_trends = all(f.stop_id is not None for f in left_out)
    stops = [f.stop_id for f in left_out if f.stop_id is not None and f.species_id is None]
    listened = visit.periods.filter(status=PeriodStatus.LISTENED.value)
    counting = listened.exclude(stop__in=stops) if visit.counts_in_trends else listened.none()
    count_nothing_below(visit)
    counting.update(counts_in_trends=True)
    # By their keys: an update through a join goes badly wrong on stale statistics.
    periods = dict(visit.periods.filter(counts_in_trends=True).values_list("stop_id", "pk"))
    calls = CallIndex.objects.filter(period__in=list(periods.values()), not_sure=False)
    for finding in left_out:
        if finding.species_id is not None and finding.stop_id in periods:
            calls = calls.exclude(period=periods[finding.stop_id], species=finding.species_id)
    calls.update(counts_in_trends=True)


def count_nothing(visit: Visit) -> None:
    """Take the visit and everything below it out of trends."""
    visit.counts_in_trends = False
    count_nothing_below(visit)


def count_nothing_below(visit: Visit) -> None:
    periods = list(visit.periods.values_list("pk", flat=True))
    visit.periods.filter(counts_in_trends=True).update(counts_in_trends=False)
    CallIndex.objects.filter(period__in=periods, counts_in_trends=True).update(
        counts_in_trends=False
    )
