"""The tables as a Data Package: CSV files with a description that software can read and check.

The descriptor follows Data Package 2.0 (datapackage.org/profiles/2.0/datapackage.json). `unit`
of a field is a property of ours: Table Schema 2.0, "Field", lets a field descriptor contain any
number of other properties.
"""

import hashlib
import json
import textwrap
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from surveys.publishing.formats.archive import write_archive
from surveys.publishing.formats.reproduce import (
    COMMANDS,
    how_to,
    reproduce_parts,
)
from surveys.publishing.frozen import (
    About,
    Frozen,
)
from surveys.publishing.tables import (
    TABLES,
    Cells,
    Table,
)

PROFILE = "https://datapackage.org/profiles/2.0/datapackage.json"
DIALECT = {
    "header": True,
    "delimiter": ",",
    "lineTerminator": "\r\n",
    "quoteChar": '"',
    "doubleQuote": True,
}
APOSTROPHE = (
    "A text that begins with = + - @ or an apostrophe, or with a tab or a line break, has one "
    "apostrophe put before it, so that no spreadsheet takes it for a formula. Take away exactly "
    "one apostrophe from the beginning of a text to have it as it was."
)
_DESCRIBES = (
    "What each table and column means, its unit and limits, and the size and SHA-256 of each "
    "table, as Data Package 2.0 (datapackage.org)."
)
_CSV = (
    "Comma separated, UTF-8, lines ending in CR LF (RFC 4180). Dates and times are ISO 8601; "
    "times are UTC."
)
_WIDTH = 96
BLANK = "A blank cell means not known, or not enough data. It never means zero."


def write(frozen: Frozen, target: Path) -> None:
    """`tables.zip`: the descriptor, every table, the method, and `reproduce/`."""
    write_archive(target, frozen.about.published_at, _parts(frozen))


def write_descriptor(frozen: Frozen, target: Path) -> None:
    """`datapackage.json` as it also stands in `tables.zip`."""
    target.write_bytes(_descriptor_bytes(frozen))


def descriptor(frozen: Frozen) -> dict[str, Any]:
    """The package in the terms of Data Package 2.0, with size and checksum of each table."""
    about = frozen.about
    return {
        "$schema": PROFILE,
        "name": about.slug,
        **({"id": about.url, "homepage": about.url} if about.url else {}),
        "title": about.title,
        "description": _description(about),
        # The season year, the version of its publication, and no patches.
        "version": f"{about.season_year}.{about.version}.0",
        "created": about.published_at.isoformat().replace("+00:00", "Z"),
        "keywords": ["amphibians", "calling survey", "call index", "occupancy"],
        "licenses": [{"name": about.license, "path": about.license_url}],
        "contributors": _contributors(about),
        "sources": [
            {
                "title": f"Accepted visits of {about.program}, season years "
                f"{about.first_year} to {about.season_year}",
                **({"email": about.contact_email} if about.contact_email else {}),
            }
        ],
        "resources": [_resource(table, frozen.folder / table.file) for table in TABLES],
    }


def _parts(frozen: Frozen) -> Iterator[tuple[str, bytes | Path]]:
    yield "README.txt", _readme(frozen.about).encode()
    yield "datapackage.json", _descriptor_bytes(frozen)
    yield "method.txt", frozen.about.method.encode()
    for table in TABLES:
        yield table.file, frozen.folder / table.file
    yield from reproduce_parts()


def _descriptor_bytes(frozen: Frozen) -> bytes:
    return (json.dumps(descriptor(frozen), ensure_ascii=False, indent=2) + "\n").encode()


def _description(about: About) -> str:
    parts = [
        about.citation,
        f"Version {about.version} of season year {about.season_year}."
        + (f" Why this version: {about.reason}" if about.reason else ""),
        (
            f"Visits by {about.observer_count} observers; those who agreed to be named are among "
            "the contributors."
        ),
        BLANK,
        APOSTROPHE,
    ]
    return "\n\n".join(parts)


def _contributors(about: About) -> list[dict[str, Any]]:
    """The program, then observers who agreed to be named; roles by DataCite and as the
    standard suggests."""
    program = {"title": about.program, "roles": ["creator", "contact"]}
    if about.contact_email:
        program["email"] = about.contact_email
    return [program, *({"title": name, "roles": ["DataCollector"]} for name in about.observers)]


def _resource(table: Table, path: Path) -> dict[str, Any]:
    with path.open("rb") as file:
        checksum = hashlib.file_digest(file, "sha256").hexdigest()
    return {
        "name": table.name,
        "type": "table",
        "title": table.title,
        "description": table.meaning,
        "path": table.file,
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "bytes": path.stat().st_size,
        "hash": f"sha256:{checksum}",
        "dialect": DIALECT,
        "schema": {
            "fields": [
                _field(column, only_key=table.key == (column.name,)) for column in table.columns
            ],
            "missingValues": [""],
            "primaryKey": list(table.key),
            **(
                {"foreignKeys": [_foreign_key(*refers) for refers in table.refers]}
                if table.refers
                else {}
            ),
        },
    }


def _field(column: Cells, *, only_key: bool) -> dict[str, Any]:
    limits = {
        "required": column.required or None,
        "unique": only_key or None,
        "minimum": column.minimum,
        "maximum": column.maximum,
        "enum": list(column.choices) or None,
    }
    constraints = {name: limit for name, limit in limits.items() if limit is not None}
    return {
        "name": column.name,
        "type": column.type,
        "description": column.meaning,
        **({"unit": column.unit} if column.unit else {}),
        **({"constraints": constraints} if constraints else {}),
    }


def _foreign_key(column: str, table: str, other: str) -> dict[str, Any]:
    return {"fields": [column], "reference": {"resource": table, "fields": [other]}}


def _readme(about: About) -> str:
    files = "\n".join(_listed(table.file, table.meaning) for table in TABLES)
    notes = "\n".join(
        textwrap.fill(note, width=_WIDTH)
        for note in (
            f"{_CSV} {BLANK}",
            APOSTROPHE,
        )
    )
    commands = "\n".join(f"    {command}" for command in COMMANDS)
    return f"""{about.title}
{"=" * len(about.title)}

Cite as: {about.citation}
License: {about.license}, {about.license_url}
Address: {about.url}

What is here
------------
{_listed("datapackage.json", _DESCRIBES)}
{_listed("method.txt", "How the numbers were calculated, and what to keep in mind.")}
{files}
{_listed("reproduce/", "Works the published results out again from the rows.")}

How to read the tables
----------------------
{notes}

How to work the results out again
---------------------------------
{textwrap.fill(how_to(about.software), width=_WIDTH)}

{commands}
"""


def _listed(file: str, meaning: str) -> str:
    return textwrap.fill(
        f"{file:<20} {meaning}", width=_WIDTH, subsequent_indent=" " * 21, break_on_hyphens=False
    )
