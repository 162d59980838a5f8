"""Fit what changed, and store it."""

import logging
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

from django.utils import timezone

from surveys.fitting.histories import load_periods
from surveys.fitting.results import to_json
from surveys.fitting.stamps import data_stamp, software
from surveys.models import FittingRun, Program, SiteKind, Species, SpeciesFit
from surveys.trends.analysis import Parts, analyze
from surveys.trends.histories import Site
from surveys.trends.periods import species_periods

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
            index=everywhere and self.site == SiteKind.STOP,
            phenology=everywhere and self.site == SiteKind.STOP,
        )

    def __str__(self) -> str:
        where = f", {self.region}" if self.region else ""
        return f"{self.species.scientific_name}, site = {self.site}{where}"


def refit(program: Program, *, say: Callable[[str], None] = lambda _: None) -> FittingRun:
    """Bring every stored fit of a program up to date.

    A fit is made anew when the checksum of its listening periods or the software differ; else it
    only gets today's stamp. Results for all regions and stops come first. Raises
    FittingFailedError at the end when some could not be made.
    """
    # Before the data are read: a change in between leaves the results marked as out of date.
    stamp = data_stamp(program)
    periods = load_periods(program)
    jobs = list(_jobs(program, periods.regions))
    stored = {(fit.species_id, fit.site, fit.region): fit for fit in program.fits.defer("result")}
    run, _ = FittingRun.objects.update_or_create(
        program=program,
        defaults={
            "data_stamp": stamp,
            "done": 0,
            "total": len(jobs),
            "refitted": 0,
            "started_at": timezone.now(),
            "finished_at": None,
        },
    )
    failed = []
    for job in jobs:
        own = species_periods(periods, job.species.pk, region=job.region)
        fit = stored.pop((job.species.pk, job.site, job.region), None)
        checksum = own.sha256
        if fit and fit.data_sha256 == checksum and fit.software == software():
            SpeciesFit.objects.filter(pk=fit.pk).update(data_stamp=stamp)
        else:
            begun = time.monotonic()
            try:
                result = analyze(job.species.code, own, site=job.site, parts=job.parts)
            except Exception:
                # One species must not keep the others from their results; its page says that
                # its own are out of date.
                log.exception("No fit for %s of %s", job, program)
                failed.append(str(job))
            else:
                SpeciesFit.objects.update_or_create(
                    program=program,
                    species=job.species,
                    site=job.site,
                    region=job.region,
                    defaults={
                        "result": to_json(result),
                        "data_sha256": checksum,
                        "data_stamp": stamp,
                        "software": software(),
                        "fitted_at": timezone.now(),
                        "seconds": round(time.monotonic() - begun, 3),
                    },
                )
                run.refitted += 1
                say(f"{job}: {time.monotonic() - begun:.1f} s")
        run.done += 1
        run.save(update_fields=["done", "refitted"])
    _forget(stored)
    run.finished_at = timezone.now()
    run.save(update_fields=["finished_at"])
    if failed:
        raise FittingFailedError("No fit for " + "; ".join(failed))
    return run


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
            for one in species:
                yield Job(species=one, site=site, region=region)


def _forget(left: Mapping[tuple[int, str, str], SpeciesFit]) -> None:
    """Species that left the checklist, and regions that are no more."""
    SpeciesFit.objects.filter(pk__in=[fit.pk for fit in left.values()]).delete()
