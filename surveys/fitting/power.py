"""Power studies: whether the surveys could show a decline, simulated in the worker and stored."""

import hashlib
import itertools
import json
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.db import transaction
from django.utils import timezone

from accounts.access import Permission, require
from accounts.models import Membership
from surveys.fitting.results import from_json, to_json
from surveys.fitting.stamps import software
from surveys.fitting.stored import stored_fits
from surveys.language import gettext, said
from surveys.models import UNDER_WAY, BackgroundRun, PowerStudy, Program, RunKind, Species
from surveys.runs.enqueue import current_run, enqueue
from surveys.runs.progress import ReportProgress, no_report
from surveys.runs.work import finish
from surveys.trends.power import PowerCell, SurveyPlan, power_grid
from surveys.trends.species_result import SpeciesResult

_SEED = 1
# Most studies of a program that may wait for the worker.
MOST_WAITING = 6
# Latest seasons that the baseline is taken from.
_RECENT = 5


class PowerUnknownError(ValueError):
    """Nothing can be simulated; the message tells the coordinator why."""


@dataclass(frozen=True, kw_only=True)
class SurveyBaseline:
    """Current effort, share of stops occupied, and chance of hearing the species on one visit to
    an occupied stop. `year_sd` is the standard deviation of years on the logit scale. `result` is
    what all of it was read from."""

    routes: int
    stops_per_route: int
    visits: int
    occupancy: float
    detection: float
    year_sd: float
    result: SpeciesResult | None = None


def baseline_from(result: SpeciesResult) -> SurveyBaseline:
    """The baseline in the latest seasons of a fit by stops. Raises PowerUnknownError."""
    years = result.years[-_RECENT:]
    if not years:
        raise PowerUnknownError(
            gettext("No accepted visit surveyed it in its calling season yet. Accept some first.")
        )
    last = years[-1]
    on_line = [share.value for _, share in result.trend.line if share.value is not None]
    yearly = [year.occupancy.value for year in years if year.occupancy.value is not None]
    detected = [
        year.detection.value
        for year in years
        if year.detection.value is not None and not year.borrowed_from
    ]
    if not detected or not (on_line or yearly):
        raise PowerUnknownError(
            gettext(
                "How often it is heard where it is present cannot be estimated: no stop was "
                "visited twice in one calling season, or it was never heard twice. A second visit "
                "per season would help."
            )
        )
    occupancy = on_line[-1] if on_line else yearly[-1]
    return SurveyBaseline(
        routes=max(last.effort.routes, 2),
        stops_per_route=max(round(last.sites / max(last.effort.routes, 1)), 1),
        # As planned: a visit that some routes missed was still due.
        visits=max(math.ceil(last.effort.periods / max(last.sites, 1)), 1),
        occupancy=_kept_from_bounds(occupancy),
        detection=_kept_from_bounds(sum(detected) / len(detected)),
        year_sd=(result.trend.scatter and result.trend.scatter.value) or 0.0,
        result=result,
    )


def survey_baseline(program: Program, species: Species) -> SurveyBaseline:
    """The baseline from the stored fit by stops. Raises PowerUnknownError."""
    fits = stored_fits(program, species=[species], site="stop")
    if not fits:
        raise PowerUnknownError(
            gettext("Its results are still being calculated. Come back in a minute.")
        )
    return baseline_from(fits[0].result)


def request_power_study(
    member: Membership, species: Species, *, routes: int, visits: int, years: int, fall: float
) -> PowerStudy:
    """The stored study with these settings, or a new one queued for the worker.

    Raises PermissionDenied, and PowerUnknownError in words.
    """
    require(member, Permission.REVIEW)
    program = member.program
    baseline = survey_baseline(program, species)
    plan = SurveyPlan(
        routes=routes,
        stops_per_route=baseline.stops_per_route,
        visits=visits,
        years=years,
        occupancy=round(baseline.occupancy, 3),
        detection=round(baseline.detection, 3),
        fall=fall,
        year_sd=round(baseline.year_sd, 2),
    )
    question = {
        "plan": to_json(plan),
        "routes": _nearby_counts(routes, (0.5, 1, 1.5, 2), least=2),
        "visits": sorted({max(visits - 1, 2), max(visits, 1), visits + 1}),
    }
    key = hashlib.sha256(json.dumps([question, software()], sort_keys=True).encode()).hexdigest()
    with transaction.atomic():
        Program.objects.select_for_update().get(pk=program.pk)
        return _existing_or_new(member, species, key, question)


def _existing_or_new(
    member: Membership, species: Species, key: str, question: dict[str, Any]
) -> PowerStudy:
    """A stored study that has its result or a run under way; else one with a new run."""
    program = member.program
    study = program.power_studies.filter(species=species, key=key).first()
    if study is not None and (study.result is not None or run_of(study) is not None):
        return study
    if program.runs.filter(kind=RunKind.POWER, state__in=UNDER_WAY).count() >= MOST_WAITING:
        raise PowerUnknownError(
            said(
                "{number} questions are already being calculated. Wait for their answers.",
                number=MOST_WAITING,
            )
        )
    if study is None:
        study = PowerStudy.objects.create(
            program=program, species=species, plan=question, key=key, asked_at=timezone.now()
        )
    study.run = enqueue(
        RunKind.POWER,
        program.pk,
        subject=_subject_of(study),
        asked_by=member.person,
        options={"study": study.pk},
    )
    study.save(update_fields=["run"])
    return study


def run_of(study: PowerStudy) -> BackgroundRun | None:
    """The run under way for a study, if any."""
    return current_run(study.program_id, _subject_of(study))


def study_of(run: BackgroundRun) -> PowerStudy:
    return run.program.power_studies.get(pk=run.options["study"])


def simulate_study(
    study: PowerStudy, run: BackgroundRun, *, report: ReportProgress = no_report
) -> None:
    """Simulate, and store the cells in the transaction that finishes the run."""
    cells = simulated_cells(study, report=report)
    with transaction.atomic():
        study.result = to_json(cells)
        study.save(update_fields=["result"])
        finish(run)


def simulated_cells(
    study: PowerStudy, *, report: ReportProgress = no_report
) -> tuple[PowerCell, ...]:
    """By routes, then visits. The same for the same study."""
    plan = plan_of(study)
    pairs = list(itertools.product(study.plan["routes"], study.plan["visits"]))
    cells: list[PowerCell] = []
    for number, (routes, visits) in enumerate(pairs):
        step = said("{routes} routes, {visits} visits per year", routes=routes, visits=visits)
        report(step, number, len(pairs))
        cells += power_grid(plan, routes=[routes], visits=[visits], seed=_SEED)
    return tuple(cells)


def _subject_of(study: PowerStudy) -> str:
    return f"power study {study.pk}"


def plan_of(study: PowerStudy) -> SurveyPlan:
    return from_json(SurveyPlan, study.plan["plan"])


def cells_of(study: PowerStudy) -> tuple[PowerCell, ...]:
    """By routes, then visits; empty while it waits."""
    return from_json(tuple[PowerCell, ...], study.result or [])


def _nearby_counts(number: int, times: Sequence[float], *, least: int) -> list[int]:
    return sorted({max(round(number * factor), least) for factor in times} | {number})


def _kept_from_bounds(share: float) -> float:
    """At exactly 0 nothing could decline, at exactly 1 nothing could be missed."""
    return min(max(share, 0.01), 0.99)
