"""Make a publication in the worker: tables, files from them, then all of it in one transaction.

Killed anywhere, it leaves either nothing or a whole publication, and can be begun again.
"""

from __future__ import annotations

import csv
import hashlib
import shutil
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from django.conf import settings
from django.db import connection, transaction
from django.utils import timezone

from surveys.fitting.stamps import software
from surveys.language import gettext, gettext_noop, said
from surveys.models import Audience, BackgroundRun, Program, Publication
from surveys.publishing import tables
from surveys.publishing.about import about_publication
from surveys.publishing.exceptions import NothingChanged, TableChanged
from surveys.publishing.files import (
    CHECKSUMS,
    METHOD,
    PLAIN_TEXT,
    MadeFile,
    sha256_of,
    store,
    with_checksums,
)
from surveys.publishing.formats.registry import FORMATS, Format
from surveys.publishing.formats.yearly_csv import MEDIA_TYPE
from surveys.publishing.freeze import freeze, snapshot, with_exact_places
from surveys.publishing.frozen import Frozen
from surveys.publishing.publish import check_something_counts, latest
from surveys.publishing.results import add_trends, periods_of, steps_of
from surveys.publishing.tables import TABLES, Table
from surveys.runs.progress import ReportProgress, Steps, no_report
from surveys.runs.work import finish
from surveys.trends.null_run import RUNS

RESULTS = (
    tables.YEARLY, tables.OCCUPANCY, tables.TRENDS, tables.SENSITIVITY, tables.NULL_RUNS,
    tables.WATER, tables.WATER_AND_CALLS, tables.CHANGE_EFFECTS,
    tables.SIGHTING_SHARES,
)  # fmt: skip
ROWS = tuple(table for table in TABLES if table not in RESULTS)


class OvertakenError(RuntimeError):
    """Another version was stored meanwhile; begun again, this one gets the next number."""


@dataclass(frozen=True, kw_only=True)
class _Frozen:
    """The tables, and the same with exact places."""

    open: Frozen
    exact: Frozen


def build(
    run: BackgroundRun,
    *,
    formats: Sequence[Format] = FORMATS,
    runs: int = RUNS,
    report: ReportProgress = no_report,
) -> None:
    """Make and store the publication that was asked for; nothing when that is done already.
    `runs` is how many surveys the null run of a species simulates.

    Raises a PublishingError when there is nothing to publish or it is not what was looked at.
    """
    run.refresh_from_db(fields=["state"])
    if not run.under_way:
        return
    steps = Steps(report, len(formats) + 2)
    with _workplace(run) as folder:
        frozen = _freeze(run, folder, runs, steps)
        files = [*_table_files(frozen.open), *_format_files(frozen, folder, formats, steps)]
        steps.begin(gettext("Storing the files"))
        _store(run, frozen.open, with_checksums(folder, files))


def _freeze(run: BackgroundRun, folder: Path, runs: int, steps: Steps) -> _Frozen:
    program, season_year = run.program, run.options["season_year"]
    previous = latest(program, season_year)
    steps.begin(gettext("Freezing the rows"))
    with snapshot():
        check_something_counts(program, season_year)
        about = about_publication(
            program,
            season_year,
            version=_next_version(previous),
            reason=run.options["reason"] if previous else "",
            published_at=timezone.now(),
            site_url=run.options["site_url"],
        )
        frozen = freeze(program, folder / "open", about)
        exact = with_exact_places(program, frozen, folder / "exact")
    seen = run.options["seen"]
    if seen and seen != sha256_of(frozen.folder / tables.YEARLY.file):
        raise TableChanged
    # The results follow from rows and software, so nothing need be fitted to see this.
    if previous and previous.software == software():
        _check_differs(previous, frozen, ROWS)
    periods = periods_of(frozen)
    steps.total += steps_of(periods)
    add_trends(frozen, periods, runs=runs, report=steps.begin)
    if previous:
        _check_differs(previous, frozen, TABLES)
    return _Frozen(open=frozen, exact=exact)


def _format_files(
    frozen: _Frozen, folder: Path, formats: Sequence[Format], steps: Steps
) -> Iterator[MadeFile]:
    for fmt in formats:
        steps.begin(said("Writing {file}", file=fmt.kind))
        path = folder / "files" / fmt.kind
        path.parent.mkdir(parents=True, exist_ok=True)
        fmt.write(frozen.exact if fmt.audience == Audience.EXACT else frozen.open, path)
        yield MadeFile(
            kind=fmt.kind,
            meaning=fmt.meaning,
            media_type=fmt.media_type,
            audience=fmt.audience,
            path=path,
        )


def _check_differs(previous: Publication, frozen: Frozen, of: Sequence[Table]) -> None:
    before = dict(previous.files.values_list("kind", "sha256"))
    if all(before.get(table.file) == sha256_of(frozen.folder / table.file) for table in of):
        raise NothingChanged(previous)


def _table_files(frozen: Frozen) -> list[MadeFile]:
    method = frozen.folder / METHOD
    method.write_text(frozen.about.method, encoding="utf-8")
    return [
        *(
            MadeFile(
                kind=table.file,
                meaning=table.title,
                media_type=MEDIA_TYPE,
                audience=Audience.OPEN,
                path=frozen.folder / table.file,
                rows=_count(frozen.folder / table.file),
            )
            for table in TABLES
        ),
        MadeFile(
            kind=METHOD,
            meaning=gettext_noop("How everything was calculated"),
            media_type=PLAIN_TEXT,
            audience=Audience.OPEN,
            path=method,
        ),
    ]


def _count(path: Path) -> int:
    with path.open(encoding="utf-8", newline="") as file:
        return sum(1 for _ in csv.reader(file)) - 1


@transaction.atomic
def _store(run: BackgroundRun, frozen: Frozen, files: list[MadeFile]) -> None:
    """The publication with its files, and the end of its run."""
    program = Program.objects.select_for_update().get(pk=run.program_id)
    about, season_year = frozen.about, run.options["season_year"]
    if about.version != _next_version(latest(program, season_year)):
        raise OvertakenError
    rows = {file.kind: file.rows for file in files}
    (sums,) = (file for file in files if file.kind == CHECKSUMS)
    publication = Publication.objects.create(
        program=program,
        season_year=season_year,
        version=about.version,
        title=about.title,
        method=about.method,
        software=about.software,
        row_count=rows[tables.YEARLY.file],
        visit_count=rows[tables.VISITS.file],
        sha256=sha256_of(sums.path),
        reason=about.reason,
        published_by=run.asked_by,
        published_at=about.published_at,
    )
    store(publication, files)
    finish(run, {"version": publication.version})


def _next_version(previous: Publication | None) -> int:
    return previous.version + 1 if previous else 1


def _installation() -> str:
    """Tells this database from others of the same name that this host works for."""
    facts = [str(connection.settings_dict[key]) for key in ("HOST", "PORT", "NAME")]
    return hashlib.sha256("\n".join([*facts, str(settings.MEDIA_ROOT)]).encode()).hexdigest()[:12]


@contextmanager
def _workplace(run: BackgroundRun) -> Iterator[Path]:
    """A folder of its own; what a killed try of the same run left behind is swept away."""
    prefix = f"publication-{_installation()}-{run.pk}-"
    for left in Path(tempfile.gettempdir()).glob(f"{prefix}*"):
        shutil.rmtree(left, ignore_errors=True)
    with tempfile.TemporaryDirectory(prefix=prefix) as folder:
        yield Path(folder)
