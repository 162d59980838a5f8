"""The files of a publication. Their bytes are the stored texts in UTF-8, nothing else."""

import hashlib
from dataclasses import dataclass

from surveys.models import Publication
from surveys.publishing import csv

TABLE = "table.csv"
DICTIONARY = "dictionary.csv"
METHOD = "method.txt"
CHECKSUMS = "SHA256SUMS.txt"
PLAIN_TEXT = "text/plain; charset=utf-8"


@dataclass(frozen=True, kw_only=True)
class PublishedFile:
    """`name` is what the file is called on the disk of whoever downloads it."""

    kind: str
    name: str
    meaning: str
    media_type: str
    content: bytes
    sha256: str


def sha256_of(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def files_of(publication: Publication) -> tuple[PublishedFile, ...]:
    """Table, dictionary and method, then their checksums as `sha256sum -c` reads them."""
    stem = f"{publication.programme.slug}-{publication.season_year}-v{publication.version}-"
    files = tuple(
        _file(kind, stem, meaning, media_type, text)
        for kind, meaning, media_type, text in (
            (TABLE, "The yearly table", csv.MEDIA_TYPE, publication.table_csv),
            (DICTIONARY, "What each column means", csv.MEDIA_TYPE, publication.dictionary_csv),
            (METHOD, "How the table was made", PLAIN_TEXT, publication.method),
        )
    )
    sums = "".join(f"{file.sha256}  {file.name}\n" for file in files)
    return (*files, _file(CHECKSUMS, stem, "Checksums of the three files", PLAIN_TEXT, sums))


def file_of(publication: Publication, kind: str) -> PublishedFile | None:
    return next((file for file in files_of(publication) if file.kind == kind), None)


def _file(kind: str, stem: str, meaning: str, media_type: str, text: str) -> PublishedFile:
    return PublishedFile(
        kind=kind,
        name=stem + kind,
        meaning=meaning,
        media_type=media_type,
        content=text.encode(),
        sha256=sha256_of(text),
    )
