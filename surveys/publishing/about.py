"""What is to be said of a publication, from the rows that go into it."""

from __future__ import annotations

import datetime as dt

from django.urls import reverse

from surveys.fitting.stamps import software
from surveys.models import Program
from surveys.publishing.citing import (
    LICENSE_URL,
    Cited,
    citation_text,
)
from surveys.publishing.closing import open_visits
from surveys.publishing.freeze import (
    counted_visits,
    first_season_year,
    observers,
    versions_used,
)
from surveys.publishing.frozen import About
from surveys.publishing.method import (
    method_text,
    title_of,
)


def about_publication(
    program: Program,
    season_year: int,
    *,
    version: int,
    reason: str,
    published_at: dt.datetime,
    site_url: str,
) -> About:
    """To be called within the snapshot that the tables come from."""
    people = observers(program, season_year)
    first_year = first_season_year(program, season_year) or season_year
    title = title_of(program, first_year, season_year)
    cited = Cited(
        program=program.name,
        slug=program.slug,
        title=title,
        season_year=season_year,
        version=version,
        published_at=published_at,
        software=software(),
        license=str(program.data_license),
        url=stable_url(program, season_year, version, site_url),
    )
    return About(
        program=program.name,
        slug=program.slug,
        region=program.region,
        country_code=program.country_code,
        time_zone=program.time_zone,
        contact_email=program.contact_email,
        season_year=season_year,
        first_year=first_year,
        version=version,
        title=title,
        reason=reason,
        published_at=published_at,
        software=cited.software,
        method=method_text(
            title=title,
            software=cited.software,
            versions=versions_used(program, season_year),
            visit_count=counted_visits(program, season_year).count(),
            open_count=open_visits(program, season_year).count(),
        ),
        license=cited.license,
        license_url=LICENSE_URL[cited.license],
        observers=tuple(person.name for person in people if person.named_in_reports),
        observer_count=len(people),
        citation=citation_text(cited),
        url=cited.url,
    )


def stable_url(program: Program, season_year: int, version: int, site_url: str) -> str:
    """The address to cite. Who may not see the publication is asked to sign in there."""
    path = reverse(
        "web:published_version",
        kwargs={"program": program.slug, "season_year": season_year, "version": version},
    )
    return site_url.rstrip("/") + path
