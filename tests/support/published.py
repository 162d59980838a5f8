"""A publication with all its formats, made in the test's process as the worker makes it."""

from accounts.models import Membership
from surveys.models import Publication
from surveys.publishing.formats.registry import FORMATS
from tests.support.publishing import publish_now

SITE = "https://frogs.example.org"


def published(member: Membership, season_year: int = 2024, reason: str = "") -> Publication:
    return publish_now(member, season_year, reason, formats=FORMATS, site_url=SITE)
