"""Fit what changed, and store it."""

import logging
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from django.utils import timezone

from surveys.fitting.analyses import Outcome, Task, outcomes
from surveys.fitting.histories import load_periods
from surveys.fitting.results import to_json
from surveys.fitting.stamps import data_stamp, software
from surveys.models import Program, SiteKind, Species, SpeciesFit
from surveys.runs.progress import ReportProgress, no_report
from surveys.trends.analysis import Parts
from surveys.trends.histories import Site
from surveys.trends.periods import ProgramPeriods, species_periods

log = logging.getLogger(__name__)


class FittingFailedError(RuntimeError):
    """Some fits could not be made; the others are stored."""


@dataclass(frozen=True, kw_only=True)
class Job:
    species: Species
    site: Site
    region: str

    @property
    def parts(self) -> Parts:
        everywhere = not self.region
        return Parts(
            turnover=everywhere,
            sensitivity=everywhere,
            chorus=everywhere,
            index=everywhere and self.site == SiteKind.STOP,
            phenology=everywhere and self.site == SiteKind.STOP,
        )

    @property
    def task(self) -> Task:
        return Task(
            species_id=self.species.pk,
            code=self.species.code,
            site=self.site,
            region=self.region,
            parts=self.parts,
        )

    def __str__(self) -> str:
        where = f", {self.region}" if self.region else ""
        return f"{self.species.scientific_name}, site = {self.site}{where}"


@dataclass(frozen=True, kw_only=True)
class Refitted:
    """Fits looked at, and how many of them were made again."""

    total: int
    done: int
    refitted: int


def refit(
    program: Program,
    *,
    stamp: str = "",
    report: ReportProgress = no_report,
    superseded: Callable[[], bool] = lambda: False,
) -> Refitted:
    """Bring every stored fit of a program up to date.

    A fit is made again when the checksum of its listening periods or the software differ; else it
    only gets today's stamp. Results for all regions and stops come first. `stamp` is that of the
    data, taken before. Ends early once it is `superseded` by a run on newer data. Raises
    FittingFailedError at the end when some could not be made.
    """
    stamp = stamp or data_stamp(program)
    periods = load_periods(program)
    jobs = list(_jobs(program, periods.regions))
    fresh, stale = _compared(program, periods, jobs)
    program.fits.filter(pk__in=fresh).update(data_stamp=stamp)
    done, failed = len(fresh), []
    made = outcomes(periods, [job.task for job, _ in stale])
    for job, sha256 in stale:
        report(str(job), done, len(jobs))
        if superseded():
            break
        outcome = next(made)
        done += 1
        if outcome.result is None:
            # One species must not keep the others from their results; its page says that
            # its own are out of date.
            log.error("No fit for %s of %s", job, program, exc_info=outcome.error)
            failed.append(str(job))
        else:
            _store(program, job, outcome, sha256, stamp)
    if failed:
        raise FittingFailedError("No fit for " + "; ".join(failed))
    return Refitted(total=len(jobs), done=done, refitted=done - len(fresh))


def _compared(
    program: Program, periods: ProgramPeriods, jobs: Sequence[Job]
) -> tuple[list[int], list[tuple[Job, str]]]:
    """The stored fits that are of today's data and software, and the jobs of all others with the
    checksum of their data. Fits of no job are deleted: species that left the checklist, and regions
    that are no more."""
    stored = {(fit.species_id, fit.site, fit.region): fit for fit in program.fits.defer("result")}
    sums: dict[tuple[int, str], str] = {}
    fresh, stale = [], []
    for job in jobs:
        fit = stored.pop((job.species.pk, job.site, job.region), None)
        # By stop and by route the data are the same.
        place = job.species.pk, job.region
        if place not in sums:
            sums[place] = species_periods(periods, job.species.pk, region=job.region).sha256
        if fit and fit.data_sha256 == sums[place] and fit.software == software():
            fresh.append(fit.pk)
        else:
            stale.append((job, sums[place]))
    program.fits.filter(pk__in=[fit.pk for fit in stored.values()]).delete()
    return fresh, stale


def _store(program: Program, job: Job, outcome: Outcome, sha256: str, stamp: str) -> None:
    SpeciesFit.objects.update_or_create(
        program=program,
        species=job.species,
        site=job.site,
        region=job.region,
        defaults={
            "result": to_json(outcome.result),
            "data_sha256": sha256,
            "data_stamp": stamp,
            "software": software(),
            "fitted_at": timezone.now(),
            "seconds": round(outcome.seconds, 3),
        },
    )


def _jobs(program: Program, regions: list[str]) -> Iterator[Job]:
    species = list(
        Species.objects.filter(checklist_entries__program=program).order_by(
            "checklist_entries__order", "common_name"
        )
    )
    # With one region, all regions together are that region.
    places = ["", *(regions if len(regions) > 1 else [])]
    sites: tuple[Site, ...] = ("stop", "route")
    for region in places:
        for site in sites:
            for listed in species:
                yield Job(species=listed, site=site, region=region)
