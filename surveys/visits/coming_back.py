"""Why submitted visits are open to their observers again."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from surveys.models import ReviewStep, Step, Visit, VisitState


@dataclass(frozen=True, kw_only=True)
class CameBack:
    """A coordinator sent the visit back with a `note`, or its observer withdrew it."""

    note: str = ""
    is_withdrawn: bool = False


def came_back(visits: Iterable[Visit]) -> Mapping[uuid.UUID, CameBack]:
    """By key of the visit, for those that are back; of any other key, a blank one."""
    found: dict[uuid.UUID, CameBack] = defaultdict(CameBack)
    back = [visit.pk for visit in visits if visit.state == VisitState.SENT_BACK]
    if back:
        steps = ReviewStep.objects.filter(visit__in=back, step__in=[Step.SENT_BACK, Step.WITHDRAWN])
        for step in steps.order_by("at", "pk"):
            withdrawn = step.step == Step.WITHDRAWN
            found[step.visit_id] = CameBack(note=step.note, is_withdrawn=withdrawn)
    return found


def tell_withdrawn(visits: Iterable[Visit]) -> list[Visit]:
    """The visits, each with `is_withdrawn` for its state on a list."""
    listed = list(visits)
    why = came_back(listed)
    for visit in listed:
        visit.is_withdrawn = visit.pk in why and why[visit.pk].is_withdrawn
    return listed
