"""Fit what changed, and store it."""

import logging
import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from django.utils import timezone

from surveys.fitting.histories import load_periods
from surveys.fitting.results import to_json
from surveys.fitting.stamps import data_stamp, software
from surveys.models import Program, SiteKind, Species, SpeciesFit
from surveys.runs.progress import ReportProgress, no_report
from surveys.trends.analysis import Parts, analyze
from surveys.trends.histories import Site
from surveys.trends.periods import SpeciesPeriods, species_periods

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

    def __str__(self) -> str:
        where = f", {self.region}" if self.region else ""
        return f"{self.species.scientific_name}, site = {self.site}{where}"


@dataclass(frozen=True, kw_only=True)
class Refitted:
    """Fits looked at, and how many of them were made again."""

    total: int
    done: int
    refitted: int


def refit(program: Program, *, stamp: str = "", report: ReportProgress = no_report) -> Refitted:
    """Bring every stored fit of a program up to date.

    A fit is made again when the checksum of its listening periods or the software differ; else it
    only gets today's stamp. Results for all regions and stops come first. `stamp` is that of the
    data, taken before. Raises FittingFailedError at the end when some could not be made.
    """
    stamp = stamp or data_stamp(program)
    periods = load_periods(program)
    jobs = list(_jobs(program, periods.regions))
    stored = {(fit.species_id, fit.site, fit.region): fit for fit in program.fits.defer("result")}
    refitted, failed = 0, []
    for number, job in enumerate(jobs):
        report(str(job), number, len(jobs))
        fit = stored.pop((job.species.pk, job.site, job.region), None)
        job_periods = species_periods(periods, job.species.pk, region=job.region)
        if fit and fit.data_sha256 == job_periods.sha256 and fit.software == software():
            SpeciesFit.objects.filter(pk=fit.pk).update(data_stamp=stamp)
            continue
        try:
            _fit_and_store(program, job, job_periods, stamp)
        except Exception:
            # One species must not keep the others from their results; its page says that
            # its own are out of date.
            log.exception("No fit for %s of %s", job, program)
            failed.append(str(job))
        else:
            refitted += 1
    _forget(stored)
    if failed:
        raise FittingFailedError("No fit for " + "; ".join(failed))
    return Refitted(total=len(jobs), done=len(jobs), refitted=refitted)


def _fit_and_store(program: Program, job: Job, periods: SpeciesPeriods, stamp: str) -> None:
    begun = time.monotonic()
    result = analyze(job.species.code, periods, site=job.site, parts=job.parts)
    SpeciesFit.objects.update_or_create(
        program=program,
        species=job.species,
        site=job.site,
        region=job.region,
        defaults={
            "result": to_json(result),
            "data_sha256": periods.sha256,
            "data_stamp": stamp,
            "software": software(),
            "fitted_at": timezone.now(),
            "seconds": round(time.monotonic() - begun, 3),
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


def _forget(left: Mapping[tuple[int, str, str], SpeciesFit]) -> None:
    """Species that left the checklist, and regions that are no more."""
    SpeciesFit.objects.filter(pk__in=[fit.pk for fit in left.values()]).delete()
