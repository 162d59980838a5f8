"""How to cite a publication: plain text, BibTeX, CSL-JSON; and what machines are told of it.

Sources: BibTeX `@misc` with the fields of btxdoc (Patashnik 1988) and `url`, which common styles
add; CSL 1.0.2 data schema (citationstyles.org); schema.org `Dataset`.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from surveys.dates import day
from surveys.language import said
from surveys.models import DataLicense

BIBTEX = "application/x-bibtex; charset=utf-8"
CSL_JSON = "application/vnd.citationstyles.csl+json"
JSON_LD = "application/ld+json"

LICENSE_URL: dict[str, str] = {
    DataLicense.CC0.value: "https://creativecommons.org/publicdomain/zero/1.0/",
    DataLicense.CC_BY.value: "https://creativecommons.org/licenses/by/4.0/",
    DataLicense.CC_BY_NC.value: "https://creativecommons.org/licenses/by-nc/4.0/",
}

# Characters that TeX reads as commands, and how they are written instead. BibTeX counts braces
# also behind a backslash, hence names for them.
_TEX = {
    "\\": r"\textbackslash{}",
    "{": r"\textbraceleft{}",
    "}": r"\textbraceright{}",
    "~": r"\textasciitilde{}",
    "^": r"\textasciicircum{}",
    **{sign: f"\\{sign}" for sign in "&%$#_"},
}


@dataclass(frozen=True, kw_only=True)
class Cited:
    """What a citation needs. `program` is its author and publisher, `license` an SPDX
    identifier, `url` the address that stays."""

    program: str
    slug: str
    title: str
    season_year: int
    version: int
    published_at: dt.datetime
    software: str
    license: str
    url: str
    withdrawn_at: dt.datetime | None = None

    @property
    def key(self) -> str:
        return f"{self.slug}-{self.season_year}-v{self.version}"


@dataclass(frozen=True, kw_only=True)
class Distribution:
    """A file that can be had. `url` may be given relative to the publication."""

    name: str
    meaning: str
    media_type: str
    url: str
    bytes: int
    sha256: str


def citation_text(cited: Cited) -> str:
    """`Program (year). Title. Version n. Made with … License. Address`"""
    published = cited.published_at.date()
    text = said(
        "{program} ({year}). {title}. Version {version}, published {day}. "
        "Made with {software}. {license}. {url}",
        program=cited.program,
        year=published.year,
        title=cited.title,
        version=cited.version,
        day=day(published),
        software=cited.software,
        license=cited.license,
        url=cited.url,
    )
    return f"{text} {note}" if (note := withdrawn_note(cited)) else text


def withdrawn_note(cited: Cited) -> str:
    """Empty for what stands."""
    if cited.withdrawn_at is None:
        return ""
    return said("Withdrawn {day}.", day=day(cited.withdrawn_at.date()))


def bibtex(cited: Cited) -> str:
    published = cited.published_at
    fields = {
        "author": f"{{{tex(cited.program)}}}",
        "title": f"{{{tex(cited.title)}}}",
        "year": str(published.year),
        "month": published.strftime("%b").lower(),
        "publisher": tex(cited.program),
        "version": str(cited.version),
        "note": tex(
            f"Data set, version {cited.version}. Made with {cited.software}. {cited.license}"
            f"{_after_license(cited)}"
        ),
        "url": cited.url,
    }
    lines = "".join(f"  {name} = {_bib_value(name, text)},\n" for name, text in fields.items())
    return f"@misc{{{cited.key},\n{lines}}}\n"


def csl(cited: Cited) -> list[dict[str, Any]]:
    """One item of type `dataset`."""
    issued = cited.published_at
    return [
        {
            "id": cited.key,
            "type": "dataset",
            "title": cited.title,
            "author": [{"literal": cited.program}],
            "publisher": cited.program,
            "issued": {"date-parts": [[issued.year, issued.month, issued.day]]},
            "version": str(cited.version),
            "URL": cited.url,
            "note": f"Made with {cited.software}. {cited.license}{_after_license(cited)}",
        }
    ]


def dataset_jsonld(
    cited: Cited,
    *,
    description: str,
    first_year: int,
    files: Iterable[Distribution],
    variables: Iterable[str] = (),
    region: str = "",
    contact_email: str = "",
    superseded: bool = False,
) -> dict[str, Any]:
    """schema.org `Dataset`. The vocabulary stands in the context itself, so that reading it
    needs no network."""
    publisher: dict[str, Any] = {"@type": "Organization", "name": cited.program}
    if contact_email:
        publisher["email"] = contact_email
    facts: dict[str, Any] = {
        "@context": {"@vocab": "https://schema.org/"},
        "@type": "Dataset",
        "@id": cited.url,
        "url": {"@id": cited.url},
        "identifier": cited.url,
        "name": cited.title,
        "description": description,
        "version": str(cited.version),
        "datePublished": cited.published_at.date().isoformat(),
        "temporalCoverage": f"{first_year}/{cited.season_year}",
        "license": {"@id": LICENSE_URL[cited.license]},
        "creator": publisher,
        "publisher": publisher,
        "isAccessibleForFree": True,
        "creditText": citation_text(cited),
        "keywords": ["amphibians", "calling survey", "call index", "occupancy"],
        "measurementTechnique": "Calling survey along fixed routes of stops",
        "distribution": [_distribution(file) for file in files],
    }
    if variables:
        facts["variableMeasured"] = list(variables)
    if region:
        facts["spatialCoverage"] = {"@type": "Place", "name": region}
    if superseded:
        facts["creativeWorkStatus"] = "Superseded"
    return facts


def _after_license(cited: Cited) -> str:
    note = withdrawn_note(cited)
    return f". {note}" if note else ""


def tex(text: str) -> str:
    """The text as TeX prints it."""
    return re.sub(r"[\\{}~^&%$#_]", lambda sign: _TEX[sign[0]], " ".join(text.split()))


def _bib_value(name: str, text: str) -> str:
    # A month is a macro, so that every style can print it in its own way.
    return text if name == "month" else f"{{{text}}}"


def _distribution(file: Distribution) -> dict[str, Any]:
    return {
        "@type": "DataDownload",
        "name": file.name,
        "description": file.meaning,
        "encodingFormat": file.media_type.split(";")[0],
        "contentUrl": {"@id": file.url},
        "contentSize": f"{file.bytes} B",
        "sha256": file.sha256,
    }
