"""How far a background run has come: one page for every kind."""

from collections.abc import Mapping, Sequence
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from surveys.models import BackgroundRun, RunKind
from surveys.runs.kinds import FACTS


def run_page(
    request: HttpRequest,
    run: BackgroundRun,
    *,
    heading: str,
    crumbs: Sequence[Mapping[str, str]],
    outcome: str,
    promise: str = "",
    **context: Any,
) -> HttpResponse:
    """The page, or its inner part alone, which asks for itself again until the run is over.

    `outcome` names the template that says how it ended; `promise` what is sure while it lasts.
    """
    page = "runs/progress.html" if request.htmx else "runs/page.html"
    return render(
        request,
        page,
        {
            **context,
            **progress_context(run),
            "heading": heading,
            "crumbs": crumbs,
            "outcome": outcome,
            "promise": promise,
        },
    )


def progress_context(run: BackgroundRun | None) -> dict[str, Any]:
    """What `runs/progress.html` shows of a run."""
    return {"run": run, "counts": FACTS[RunKind(run.kind)].counts if run else ""}
