"""System status: of a program, for its coordinators; of the whole site, for operators."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from accounts.access import Permission, ProgramRequest, is_operator, needs, needs_operator
from surveys import dates
from surveys.language import gettext, said, said_of
from surveys.models import UNDER_WAY, BackgroundRun, OperationKind, Program
from surveys.operations.failures import failed_jobs, failed_runs, try_again
from surveys.operations.heartbeats import silent_workers
from surveys.operations.problems import disk_state, problems
from surveys.operations.queue_state import QueueState, queue_states
from surveys.operations.records import latest_operation
from surveys.runs.kinds import run_name
from surveys.runs.queues import MAIL, QUEUES, WORKERS


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def program_status(request: ProgramRequest) -> HttpResponse:
    """What concerns the program, and whether the site works; no figures of other programs."""
    program = request.membership.program
    if request.method == "POST":
        return _tried_again(request, "web:program_status", program, [program.slug])
    context = {
        "section": "status",
        "facts": [*_running(program), *_site_facts()],
        "is_operator": is_operator(request.user),
        **_failures(program),
    }
    return render(request, "operations/program.html", context)


@require_http_methods(["GET", "POST"])
@needs_operator
def site_status(request: HttpRequest) -> HttpResponse:
    if request.method == "POST":
        return _tried_again(request, "web:site_status", None, [])
    context = {
        "facts": _site_facts(),
        "problems": problems(),
        "queues": [_queue_row(queue) for queue in queue_states()],
        "records": [
            record for kind in OperationKind if (record := latest_operation(kind)) is not None
        ],
        **_failures(None),
    }
    return render(request, "operations/site.html", context)


def _tried_again(
    request: HttpRequest, page: str, program: Program | None, names: list[str]
) -> HttpResponse:
    number = try_again(failed_jobs(program))
    messages.success(
        request,
        said_of(
            "{number} task will be tried again.", "{number} tasks will be tried again.", number
        ),
    )
    return redirect(page, *names)


def _failures(program: Program | None) -> dict[str, Any]:
    return {"failed_runs": failed_runs(program), "failed_jobs": failed_jobs(program)}


# Rows of `components/facts.html`: what, how it stands, and more of it in small print.
Fact = tuple[str, str, str]


def _running(program: Program) -> list[Fact]:
    runs = BackgroundRun.objects.filter(program=program, state__in=UNDER_WAY)
    names = ", ".join(map(run_name, runs))
    return [(gettext("Work of this program under way"), names or gettext("None"), "")]


def _site_facts() -> list[Fact]:
    silent = silent_workers()
    mail = next(queue for queue in queue_states() if queue.name == MAIL)
    workers = gettext("All are running")
    if silent:
        workers = said(
            "Not running: {names}",
            names=", ".join(gettext(WORKERS[name].label) for name in silent),
        )
    return [
        (gettext("Workers"), workers, ""),
        (gettext("Email"), _waiting(mail), ""),
        *(_operation(kind) for kind in OperationKind),
        _disk(),
    ]


def _waiting(queue: QueueState) -> str:
    if not queue.waiting:
        return gettext("Nothing is waiting")
    return said(
        "{number} waiting, the first for {duration}",
        number=queue.waiting,
        duration=_duration(queue.oldest),
    )


def _duration(length: dt.timedelta) -> str:
    minutes = length // dt.timedelta(minutes=1)
    if minutes < 1:
        return said_of("{number} second", "{number} seconds", int(length.total_seconds()))
    if minutes < 120:
        return said_of("{number} minute", "{number} minutes", minutes)
    return said_of("{number} hour", "{number} hours", minutes // 60)


def _operation(kind: OperationKind) -> Fact:
    latest, done = latest_operation(kind), latest_operation(kind, ok=True)
    if latest is None:
        return (kind.label, gettext("None yet"), "")
    when = dates.moment(done.at) if done else gettext("None that succeeded")
    failed = said("Failed on {moment}", moment=dates.moment(latest.at)) if not latest.ok else ""
    return (kind.label, when, failed)


def _disk() -> Fact:
    name = gettext("Disk for photos and recordings")
    try:
        disk = disk_state()
    except OSError:
        return (name, gettext("Cannot be reached"), "")
    free = said("{percent}% free", percent=f"{disk.percent_free:.0f}")
    return (name, free, said("{gigabytes} GB", gigabytes=f"{disk.free / 1e9:,.0f}"))


def _queue_row(queue: QueueState) -> dict[str, Any]:
    return {
        "label": gettext(QUEUES[queue.name]),
        "name": queue.name,
        "waiting": queue.waiting,
        "oldest": _duration(queue.oldest) if queue.waiting else "",
        "at_work": queue.at_work,
        "longest": _duration(queue.longest) if queue.at_work else "",
        "failed": queue.failed,
        "is_stuck": queue.is_stuck,
    }
