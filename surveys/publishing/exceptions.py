"""What can stand in the way of publishing. Each is a plain sentence."""

# ruff: noqa: N818 - named after what happened, not after what it is

from surveys.language import gettext, said
from surveys.models import Publication


class PublishingError(Exception):
    """The table could not be published."""


class NothingToPublish(PublishingError):
    def __init__(self, season_year: int) -> None:
        super().__init__(
            said(
                "No accepted visit of season year {season_year} counts in trends, so "
                "there is nothing to publish. Accept its visits first, or choose another "
                "year.",
                season_year=season_year,
            )
        )


class TableChanged(PublishingError):
    def __init__(self) -> None:
        super().__init__(
            gettext(
                "The table has changed since you looked at it: a visit was accepted, "
                "corrected or reopened. The numbers below are new. Look at them, then"
                " publish."
            )
        )


class NothingChanged(PublishingError):
    def __init__(self, previous: Publication) -> None:
        super().__init__(
            said(
                "Nothing in the tables has changed since version {version} of season year"
                " {season_year}, so there is no new version to publish.",
                version=previous.version,
                season_year=previous.season_year,
            )
        )


class AlreadyUnderWay(PublishingError):
    def __init__(self, season_year: int) -> None:
        super().__init__(
            said(
                "A publication of season year {season_year} is being made already. Wait "
                "until it is done.",
                season_year=season_year,
            )
        )


class ReasonNeeded(PublishingError):
    def __init__(self, previous: Publication) -> None:
        super().__init__(
            said(
                "Say why this version replaces version {version}. Readers of the earlier "
                "version need to know.",
                version=previous.version,
            )
        )


class AlreadyWithdrawn(PublishingError):
    def __init__(self, publication: Publication) -> None:
        super().__init__(
            said(
                "Version {version} of season year {season_year} has already been withdrawn.",
                version=publication.version,
                season_year=publication.season_year,
            )
        )


class ReasonToWithdrawNeeded(PublishingError):
    def __init__(self) -> None:
        super().__init__(
            gettext("Say why it is withdrawn. Whoever cited it finds the reason in its place.")
        )


class NamesCollide(PublishingError):
    def __init__(self, name: str) -> None:
        super().__init__(
            said(
                "Two species of the checklist have the scientific name {name}. Published "
                "tables know a species by this name. Take one of the two off the "
                "checklist, or have its name corrected, then publish again.",
                name=name,
            )
        )
