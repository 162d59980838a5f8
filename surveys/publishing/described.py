"""A publication as others see it: what to cite, and what machines are told."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from surveys.language import said
from surveys.models import (
    Publication,
    PublicationFile,
)
from surveys.publishing.citing import (
    LICENSE_URL,
    Cited,
    Distribution,
    citation_text,
    dataset_jsonld,
)
from surveys.publishing.files import (
    files_of,
    text_of,
)
from surveys.publishing.formats import yearly_csv as csv

SITE = "stop"


@dataclass(frozen=True, kw_only=True)
class Described:
    """A publication and what stands in its open files. `here` is its address on this site,
    without the key of any link.

    License, contact, years and the address to cite are those of its own description: the
    program, or the site, may have changed them since.
    """

    publication: Publication
    here: str

    @cached_property
    def files(self) -> list[PublicationFile]:
        return list(files_of(self.publication, exact=False))

    @cached_property
    def package(self) -> dict[str, Any]:
        text = text_of(self.publication, "datapackage.json")
        return json.loads(text) if text else {}

    @cached_property
    def url(self) -> str:
        """The address to cite."""
        if self.publication.withdrawn:
            return self.publication.withdrawn.url
        published = self.package.get("id", "")
        return published if published.startswith("http") else self.here

    @cached_property
    def license(self) -> str:
        if self.publication.withdrawn:
            return self.publication.withdrawn.license
        licenses = self.package.get("licenses")
        return licenses[0]["name"] if licenses else self.publication.program.data_license

    @property
    def license_url(self) -> str:
        return LICENSE_URL[self.license]

    @cached_property
    def contact_email(self) -> str:
        return next((person["email"] for person in self._contributors if "email" in person), "")

    @property
    def _contributors(self) -> list[dict[str, Any]]:
        return self.package.get("contributors", [])

    @cached_property
    def years(self) -> tuple[int, int]:
        """First and last season year of the tables."""
        last = self.publication.season_year
        return min((row["season_year"] for row in self.yearly), default=last), last

    @cached_property
    def yearly(self) -> list[dict[str, Any]]:
        rows = _records(self.publication, "yearly")
        return [{**row, "season_year": int(row["season_year"])} for row in rows]

    @cached_property
    def cited(self) -> Cited:
        publication, withdrawn = self.publication, self.publication.withdrawn
        return Cited(
            program=publication.program.name,
            slug=publication.program.slug,
            title=publication.title,
            season_year=publication.season_year,
            version=publication.version,
            published_at=publication.published_at,
            software=publication.software,
            license=self.license,
            url=self.url,
            withdrawn_at=withdrawn.withdrawn_at if withdrawn else None,
        )

    @property
    def summary(self) -> str:
        first, last = self.years
        return said(
            "Frogs and toads that volunteers heard calling along the fixed routes of {program}, "
            "season years {first} to {last}. It holds {visits} accepted visits with every "
            "listening period and call index, zeros too. It also has the yearly table and trends.",
            program=self.publication.program.name,
            first=first,
            last=last,
            visits=self.publication.visit_count,
        )


def trends_of(described: Described) -> list[dict[str, str]]:
    """The trend of each species, site = stop, with its common name; numbers as they stand in
    the table, blank where it cannot be said."""
    names = {
        row["species"]: row["common_name"] for row in _records(described.publication, "checklist")
    }
    newest = {
        row["species"]: row
        for row in _records(described.publication, "occupancy")
        if row["site"] == SITE and int(row["season_year"]) == described.publication.season_year
    }
    return [
        {**row, "common_name": names[row["species"]], "newest": newest.get(row["species"], {})}
        for row in _records(described.publication, "trends")
        if row["site"] == SITE
    ]


def jsonld(
    described: Described, *, superseded: bool, file_url: Callable[[str], str]
) -> dict[str, Any]:
    publication = described.publication
    resources = described.package.get("resources", [])
    return dataset_jsonld(
        described.cited,
        description=described.summary,
        first_year=described.years[0],
        files=[
            Distribution(
                name=file.kind,
                meaning=file.meaning,
                media_type=file.media_type,
                url=file_url(file.kind),
                bytes=file.bytes,
                sha256=file.sha256,
            )
            for file in described.files
        ],
        variables=_variables(resources),
        region=publication.program.region,
        contact_email=described.contact_email,
        superseded=superseded,
    )


def index(
    described: Described, *, url: str, newer_url: str | None, file_url: Callable[[str], str]
) -> dict[str, Any]:
    """What a script needs to fetch and check a publication; `url` as this reader opens it."""
    publication = described.publication
    return {
        **entry(publication, url),
        "cite_as": described.url,
        "first_year": described.years[0],
        "software": publication.software,
        "license": described.license,
        "license_url": described.license_url,
        "citation": citation_text(described.cited),
        "superseded_by": newer_url,
        "files": [
            {
                "kind": file.kind,
                "meaning": file.meaning,
                "media_type": file.media_type,
                "bytes": file.bytes,
                "rows": file.rows,
                "sha256": file.sha256,
                "url": file_url(file.kind),
            }
            for file in described.files
        ],
    }


def entry(publication: Publication, url: str) -> dict[str, Any]:
    """A publication in a list. `withdrawn` is null while it stands."""
    return {
        "title": publication.title,
        "season_year": publication.season_year,
        "version": publication.version,
        "published_at": _instant(publication.published_at),
        "reason": publication.reason,
        "visits": publication.visit_count,
        "sha256": publication.sha256,
        "url": url,
        "withdrawn": withdrawn_facts(publication),
    }


def withdrawn_facts(publication: Publication) -> dict[str, str] | None:
    withdrawal = publication.withdrawn
    if withdrawal is None:
        return None
    return {"at": _instant(withdrawal.withdrawn_at), "reason": withdrawal.reason}


def _instant(at: dt.datetime) -> str:
    return at.isoformat().replace("+00:00", "Z")


def _variables(resources: list[dict[str, Any]]) -> list[str]:
    """What the call and occupancy tables measure, in their own words."""
    return [
        field["description"]
        for resource in resources
        for field in resource["schema"]["fields"]
        if (resource["name"], field["name"])
        in (("calls", "call_index"), ("occupancy", "occupancy"))
    ]


def _records(publication: Publication, table: str) -> list[dict[str, str]]:
    text = text_of(publication, f"data/{table}.csv")
    if text is None:
        return []
    header, rows = csv.from_csv(text)
    return [dict(zip(header, map(csv.unguard, row), strict=True)) for row in rows]
