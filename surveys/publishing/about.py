"""What is to be said of a publication, from the rows that go into it."""

from __future__ import annotations

import datetime as dt

from django.urls import reverse

from surveys.fitting.stamps import software
from surveys.models import Programme
from surveys.publishing.citing import LICENCE_URL, Cited, citation_text
from surveys.publishing.closing import open_visits
from surveys.publishing.freeze import counted_visits, first_season_year, observers, versions_used
from surveys.publishing.frozen import About
from surveys.publishing.method import method_text, title_of


def about_publication(
    programme: Programme,
    season_year: int,
    *,
    version: int,
    reason: str,
    published_at: dt.datetime,
    site_url: str,
) -> About:
    """To be called within the snapshot that the tables come from."""
    people = observers(programme, season_year)
    first_year = first_season_year(programme, season_year) or season_year
    title = title_of(programme, first_year, season_year)
    cited = Cited(
        programme=programme.name,
        slug=programme.slug,
        title=title,
        season_year=season_year,
        version=version,
        published_at=published_at,
        software=software(),
        licence=str(programme.data_licence),
        url=stable_url(programme, season_year, version, site_url),
    )
    return About(
        programme=programme.name,
        slug=programme.slug,
        region=programme.region,
        country_code=programme.country_code,
        time_zone=programme.time_zone,
        contact_email=programme.contact_email,
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
            versions=versions_used(programme, season_year),
            visit_count=counted_visits(programme, season_year).count(),
            open_count=open_visits(programme, season_year).count(),
        ),
        licence=cited.licence,
        licence_url=LICENCE_URL[cited.licence],
        observers=tuple(person.name for person in people if person.named_in_reports),
        observer_count=len(people),
        citation=citation_text(cited),
        url=cited.url,
    )


def stable_url(programme: Programme, season_year: int, version: int, site_url: str) -> str:
    """The address to cite. Who may not see the publication is asked to sign in there."""
    path = reverse(
        "web:published_version",
        kwargs={"programme": programme.slug, "season_year": season_year, "version": version},
    )
    return site_url.rstrip("/") + path
