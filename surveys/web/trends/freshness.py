"""Whether what a page shows is of today's data; if not, the worker is asked to refit."""

from collections.abc import Sequence
from typing import Any

from django.conf import settings

from surveys import site_mode
from surveys.fitting.stored import StoredFit, progress
from surveys.models import Program
from surveys.replica import on_primary
from surveys.visits.refitting import refit_trends


def freshness(
    program: Program, fits: Sequence[StoredFit], *, complete: bool = True
) -> dict[str, Any]:
    """Context of `trends/freshness.html`. `complete` is false when fits are missing.

    A change that no verb announced (a checklist, a new version of the software) is noticed here;
    while the site is read-only it waits for the first reader afterwards.
    """
    stale = any(not fit.fresh for fit in fits)
    missing = not fits or not complete
    under_way = progress(program) if stale or missing else None
    asks = (stale or missing) and not (under_way and under_way.current)
    if asks and site_mode.is_open(settings.SITE_MODE_FILE):
        with on_primary():
            refit_trends(program.pk, after_s=0)
    return {"stale": stale, "missing": missing, "under_way": under_way}
