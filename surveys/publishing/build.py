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

from django.db import connection, transaction
from django.utils import timezone

from surveys.fitting.stamps import software
from surveys.models import (
    Audience,
    Program,
    Publication,
    PublishingRun,
    RunState,
)
from surveys.publishing import tables
from surveys.publishing.about import about_publication
from surveys.publishing.exceptions import (
    NothingChanged,
    NothingToPublish,
    TableChanged,
)
from surveys.publishing.files import (
    CHECKSUMS,
    METHOD,
    PLAIN_TEXT,
    MadeFile,
    sha256_of,
    store,
    with_checksums,
)
from surveys.publishing.formats.registry import (
    FORMATS,
    Format,
)
from surveys.publishing.formats.yearly_csv import MEDIA_TYPE
from surveys.publishing.freeze import (
    counted_visits,
    freeze,
    snapshot,
    with_exact_places,
)
from surveys.publishing.frozen import Frozen
from surveys.publishing.publish import (
    UNDER_WAY,
    latest,
)
from surveys.publishing.results import (
    add_trends,
    add_yearly,
    fits_of,
    periods_of,
)
from surveys.publishing.tables import (
    TABLES,
    Table,
)

RESULTS = (tables.YEARLY, tables.OCCUPANCY, tables.TRENDS)
ROWS = tuple(table for table in TABLES if table not in RESULTS)


class OvertakenError(RuntimeError):
    """Another version was stored meanwhile; begun again, this one gets the next number."""


@dataclass(frozen=True, kw_only=True)
class _Frozen:
    """The tables, and the same with exact places."""

    open: Frozen
    exact: Frozen


class Progress:
    """Says in words which step a run is at."""

    def __init__(self, run: PublishingRun) -> None:
        self.run = PublishingRun.objects.filter(pk=run.pk, state__in=UNDER_WAY)
        self.done = -1

    def begin(self, total: int) -> None:
        self.run.update(total=total)

    def say(self, step: str) -> None:
        self.done += 1
        self.run.update(state=RunState.WORKING, step=step[:120], done=self.done)


def build(run: PublishingRun, *, site_url: str = "", formats: Sequence[Format] = FORMATS) -> None:
    """Make and store the publication that was asked for; nothing when that is done already.

    Raises a PublishingError when there is nothing to publish or it is not what was looked at.
    """
    if run.state not in UNDER_WAY:
        return
    progress = Progress(run)
    progress.begin(len(formats) + 2)
    with _workplace(run) as folder:
        frozen = _freeze(run, folder, site_url, progress, len(formats))
        files = [*_table_files(frozen.open), *_format_files(frozen, folder, formats, progress)]
        progress.say("Storing the files")
        _store(run, frozen.open, with_checksums(folder, files))


def _freeze(
    run: PublishingRun, folder: Path, site_url: str, progress: Progress, formats: int
) -> _Frozen:
    program = run.program
    previous = latest(program, run.season_year)
    progress.say("Freezing the rows")
    with snapshot():
        if (
            not counted_visits(program, run.season_year)
            .filter(season_year=run.season_year)
            .exists()
        ):
            raise NothingToPublish(run.season_year)
        about = about_publication(
            program,
            run.season_year,
            version=previous.version + 1 if previous else 1,
            reason=run.reason if previous else "",
            published_at=timezone.now(),
            site_url=site_url,
        )
        frozen = freeze(program, folder / "open", about)
        exact = with_exact_places(program, frozen, folder / "exact")
    periods = periods_of(frozen)
    add_yearly(frozen, periods)
    if run.seen and run.seen != sha256_of(frozen.folder / tables.YEARLY.file):
        raise TableChanged
    # The results follow from rows and software, so nothing need be fitted to see this.
    if previous and previous.software == software():
        _check_differs(previous, frozen, ROWS)
    progress.begin(fits_of(periods) + formats + 2)
    add_trends(frozen, periods, say=progress.say)
    if previous:
        _check_differs(previous, frozen, TABLES)
    return _Frozen(open=frozen, exact=exact)


def _format_files(
    frozen: _Frozen, folder: Path, formats: Sequence[Format], progress: Progress
) -> Iterator[MadeFile]:
    for one in formats:
        progress.say(f"Writing {one.kind}")
        path = folder / "files" / one.kind
        path.parent.mkdir(parents=True, exist_ok=True)
        one.write(frozen.exact if one.audience == Audience.EXACT else frozen.open, path)
        yield MadeFile(
            kind=one.kind,
            meaning=one.meaning,
            media_type=one.media_type,
            audience=one.audience,
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
            meaning="How all of it was made",
            media_type=PLAIN_TEXT,
            audience=Audience.OPEN,
            path=method,
        ),
    ]


def _count(path: Path) -> int:
    with path.open(encoding="utf-8", newline="") as file:
        return sum(1 for _ in csv.reader(file)) - 1


@transaction.atomic
def _store(run: PublishingRun, frozen: Frozen, files: list[MadeFile]) -> None:
    run = PublishingRun.objects.select_for_update().get(pk=run.pk)
    if run.state not in UNDER_WAY:
        return
    program = Program.objects.select_for_update().get(pk=run.program_id)
    about = frozen.about
    previous = latest(program, run.season_year)
    if about.version != (previous.version + 1 if previous else 1):
        raise OvertakenError
    rows = {file.kind: file.rows for file in files}
    (sums,) = (file for file in files if file.kind == CHECKSUMS)
    publication = Publication.objects.create(
        program=program,
        season_year=run.season_year,
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
    run.publication = publication
    run.state, run.step, run.problem = RunState.DONE, "", ""
    run.done, run.finished_at = run.total, timezone.now()
    run.save()


@contextmanager
def _workplace(run: PublishingRun) -> Iterator[Path]:
    """A folder of its own; what a killed try of the same run left behind is swept away."""
    database = hashlib.sha256(str(connection.settings_dict["NAME"]).encode()).hexdigest()[:12]
    prefix = f"publication-{database}-{run.pk}-"
    for left in Path(tempfile.gettempdir()).glob(f"{prefix}*"):
        shutil.rmtree(left, ignore_errors=True)
    with tempfile.TemporaryDirectory(prefix=prefix) as folder:
        yield Path(folder)
