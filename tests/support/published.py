"""A publication made as the worker makes it, at once."""

from accounts.models import Membership
from surveys.models import Publication
from surveys.publishing.build import build
from surveys.publishing.publish import ask_to_publish

SITE = "https://frogs.example.org"


def published(member: Membership, season_year: int = 2024, reason: str = "") -> Publication:
    run = ask_to_publish(member, season_year, reason, site_url=SITE)
    build(run)
    run.refresh_from_db()
    assert run.publication is not None, run.problem
    return run.publication
