"""The files of a publication: their bytes, their names, their list of checksums."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from django.db.models import QuerySet

from surveys.language import gettext_noop as _
from surveys.models import (
    Audience,
    Publication,
    PublicationFile,
    PublicationPiece,
)

CHECKSUMS = "SHA256SUMS.txt"
EXACT_CHECKSUMS = f"exact/{CHECKSUMS}"
METHOD = "method.txt"
PLAIN_TEXT = "text/plain; charset=utf-8"
PIECE = 1 << 20


@dataclass(frozen=True, kw_only=True)
class MadeFile:
    """A file on the disk that is to become part of a publication."""

    kind: str
    meaning: str
    media_type: str
    audience: Audience
    path: Path
    rows: int | None = None


def files_of(publication: Publication, *, exact: bool) -> QuerySet[PublicationFile]:
    """The files in their order; those with exact places only when `exact`."""
    files = publication.files.all()
    return files if exact else files.filter(audience=Audience.OPEN)


def file_of(publication: Publication, kind: str, *, exact: bool) -> PublicationFile | None:
    return files_of(publication, exact=exact).filter(kind=kind).first()


def open_file(file: PublicationFile) -> Iterator[bytes]:
    """The bytes, piece by piece: never more than one of them is in memory."""
    return open_part(file, 0, file.bytes - 1)


def open_part(file: PublicationFile, first: int, last: int) -> Iterator[bytes]:
    """Bytes `first` to `last`, both included; only the pieces that hold them are read."""
    pieces = PublicationPiece.objects.filter(file=file)
    for number in range(first // PIECE, last // PIECE + 1):
        content = bytes(pieces.values_list("content", flat=True).get(number=number))
        begins = number * PIECE
        yield content[max(first - begins, 0) : last + 1 - begins]


def text_of(publication: Publication, kind: str) -> str | None:
    """A small open file as text; None when the publication has no such file."""
    file = file_of(publication, kind, exact=False)
    return None if file is None else b"".join(open_file(file)).decode()


def download_name(file: PublicationFile) -> str:
    """What the file is called on the disk of whoever downloads it."""
    of = file.publication
    name = PurePosixPath(file.kind).name
    kept = "exact-" if file.audience == Audience.EXACT else ""
    return f"{of.program.slug}-{of.season_year}-v{of.version}-{kept}{name}"


def store(publication: Publication, files: list[MadeFile]) -> None:
    """Write the files with their bytes. To be called in the transaction of the publication."""
    for order, made in enumerate(files):
        file = PublicationFile.objects.create(
            publication=publication,
            order=order,
            kind=made.kind,
            meaning=made.meaning,
            media_type=made.media_type,
            audience=made.audience,
            rows=made.rows,
            bytes=made.path.stat().st_size,
            sha256=sha256_of(made.path),
        )
        with made.path.open("rb") as content:
            for number, piece in enumerate(iter(lambda: content.read(PIECE), b"")):
                PublicationPiece.objects.create(file=file, number=number, content=piece)


def sha256_of(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def with_checksums(folder: Path, files: list[MadeFile]) -> list[MadeFile]:
    """The files and the lists of their checksums, as `sha256sum -c` reads them.

    Files with exact places have a list of their own: a checksum of few coordinates could be
    tried out until it fits.
    """
    with_lists = list(files)
    for kind, audience, meaning in (
        (CHECKSUMS, Audience.OPEN, _("Checksums of all files")),
        (
            EXACT_CHECKSUMS,
            Audience.EXACT,
            _("Checksums of the files with exact locations"),
        ),
    ):
        listed = [file for file in files if file.audience == audience]
        if listed:
            path = folder / kind
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text("".join(f"{sha256_of(file.path)}  {file.kind}\n" for file in listed))
            with_lists.append(
                MadeFile(
                    kind=kind,
                    meaning=meaning,
                    media_type=PLAIN_TEXT,
                    audience=audience,
                    path=path,
                )
            )
    return with_lists
