"""Stored fits, and whether they are of today's data."""

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from django.db.models import QuerySet
from django.utils import timezone

from surveys.fitting.results import UnreadableResultError, from_json
from surveys.fitting.stamps import data_stamp, software
from surveys.models import Program, RunKind, RunState, Species, SpeciesFit
from surveys.seasons.joint_entries import told_in_groups
from surveys.trends.borrowed import needs_detection, with_borrowed
from surveys.trends.joint_entries import ToldEntry, group_flags, with_flags
from surveys.trends.species_result import SpeciesResult


@dataclass(frozen=True, kw_only=True)
class StoredFit:
    """`fresh` is false when data or software changed since: say so wherever it is shown."""

    species: Species
    site: str
    region: str
    result: SpeciesResult
    fresh: bool
    sha256: str
    software: str
    fitted_at: dt.datetime


@dataclass(frozen=True, kw_only=True)
class Progress:
    """`current` says that the run under way is on today's data."""

    done: int
    total: int
    current: bool


# A run that began longer ago is not waited for.
LONGEST_RUN = dt.timedelta(hours=2)


def stored_fits(
    program: Program,
    *,
    species: Iterable[Species] | None = None,
    site: str = "stop",
    region: str | None = "",
) -> list[StoredFit]:
    """Fits in the order of the checklist, then of regions; `region=None` for every region.

    Flags say which of a joint entry and its members is told. They follow from the records of all
    of them, so they are worked out here and not stored with the fit of one. The same holds for
    detection that a species without repeat visits borrows.
    """
    fits = SpeciesFit.objects.filter(
        program=program, site=site, species__checklist_entries__program=program
    )
    if region is not None:
        fits = fits.filter(region=region)
    wanted = fits if species is None else fits.filter(species__in=list(species))
    told = told_in_groups(program)
    read = _read(wanted, told)
    if any(map(needs_detection, read.values())):
        read = _with_borrowed(read, _read(fits, told))
    stamp, code = data_stamp(program), software()
    return [
        StoredFit(
            species=fit.species,
            site=fit.site,
            region=fit.region,
            result=result,
            fresh=fit.data_stamp == stamp and fit.software == code,
            sha256=fit.data_sha256,
            software=fit.software,
            fitted_at=fit.fitted_at,
        )
        for fit, result in read.items()
    ]


def _read(fits: QuerySet[SpeciesFit], told: Sequence[ToldEntry]) -> dict[SpeciesFit, SpeciesResult]:
    """Their results, as far as this version of the software can read them."""
    ordered = fits.select_related("species").order_by(
        "species__checklist_entries__order", "species__common_name", "region"
    )
    return {
        fit: with_flags(result, group_flags(fit.species.scientific_name, told))
        for fit in ordered
        if (result := _readable(fit)) is not None
    }


def _with_borrowed(
    wanted: Iterable[SpeciesFit], results: Mapping[SpeciesFit, SpeciesResult]
) -> dict[SpeciesFit, SpeciesResult]:
    """The wanted fits out of those of all species, with the detection of the others of their region
    where they have none of their own."""
    borrowed = {}
    for place in {fit.region for fit in results}:
        of_place = [fit for fit in results if fit.region == place]
        borrowed |= zip(of_place, with_borrowed([results[fit] for fit in of_place]), strict=True)
    return {fit: borrowed[fit] for fit in wanted}


def _readable(fit: SpeciesFit) -> SpeciesResult | None:
    """The result, or None when another version of the software wrote what this one cannot read.

    Such a fit counts as missing, and is made again.
    """
    try:
        return from_json(SpeciesResult, fit.result)
    except UnreadableResultError:
        return None


def progress(program: Program) -> Progress | None:
    """How far the run that is under way has come; None when none is."""
    since = timezone.now() - LONGEST_RUN
    run = program.runs.filter(
        kind=RunKind.FIT, state=RunState.RUNNING, started_at__gte=since
    ).first()
    if run is None:
        return None
    stamp = (run.result or {}).get("data_stamp")
    return Progress(done=run.done, total=run.total, current=stamp == data_stamp(program))
