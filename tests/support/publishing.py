"""Publish at once, as the worker would."""

from collections.abc import Sequence

from accounts.models import Membership
from surveys.models import (
    BackgroundRun,
    Publication,
    RunKind,
)
from surveys.publishing.build import build
from surveys.publishing.formats.registry import Format
from surveys.publishing.publish import request_publication


def publish_now(
    member: Membership,
    season_year: int,
    reason: str = "",
    *,
    formats: Sequence[Format] = (),
    **options,
) -> Publication:
    """The tables and the `formats` asked for. Raises what stands in the way, whether it shows at
    once or while the tables are made."""
    run = request_publication(member, season_year, reason, **options)
    build(run, formats=formats)
    run.refresh_from_db()
    return member.program.publications.get(season_year=season_year, version=run.result["version"])


def build_what_waits() -> None:
    """Every run that was asked for: the tables only."""
    for run in BackgroundRun.objects.filter(kind=RunKind.PUBLISH, state="queued").order_by("pk"):
        build(run, formats=())
