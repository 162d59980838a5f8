"""Which parts of an accepted visit count in trends."""

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
    """Mark everything as counting that no settlement leaves out.

    The visit must be locked. It is changed but not saved: the caller saves it as accepted,
    and only rows of accepted visits are used. A query settled as left out excludes what it is
    about: the visit, one stop, or one species at one stop. Skipped stops and calls marked as
    not sure never count.
    """
    left_out = [f for f in findings if f.settlement == Settlement.LEFT_OUT]
    visit.counts_in_trends = all(f.stop_id is not None for f in left_out)
    stops = [f.stop_id for f in left_out if f.stop_id is not None and f.species_id is None]
    listened = visit.periods.filter(status=PeriodStatus.LISTENED.value)
    counting = listened.exclude(stop__in=stops) if visit.counts_in_trends else listened.none()
    exclude_rows_from_trends(visit)
    counting.update(counts_in_trends=True)
    # By primary key: the planner picks a very slow plan for an update through a join when the
    # statistics are stale.
    periods = dict(visit.periods.filter(counts_in_trends=True).values_list("stop_id", "pk"))
    calls = CallIndex.objects.filter(period__in=list(periods.values()), not_sure=False)
    for finding in left_out:
        if finding.species_id is not None and finding.stop_id in periods:
            calls = calls.exclude(period=periods[finding.stop_id], species=finding.species_id)
    calls.update(counts_in_trends=True)


def exclude_from_trends(visit: Visit) -> None:
    """Take the visit (not saved) and its dependent rows out of trends."""
    visit.counts_in_trends = False
    exclude_rows_from_trends(visit)


def exclude_rows_from_trends(visit: Visit) -> None:
    periods = list(visit.periods.values_list("pk", flat=True))
    visit.periods.filter(counts_in_trends=True).update(counts_in_trends=False)
    CallIndex.objects.filter(period__in=periods, counts_in_trends=True).update(
        counts_in_trends=False
    )
