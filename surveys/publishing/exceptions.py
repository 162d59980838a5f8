"""What can stand in the way of publishing. Each is a plain sentence."""

# ruff: noqa: N818 - named after what happened, not after what it is

from surveys.models import Publication


class PublishingError(Exception):
    """The table could not be published."""


class NothingToPublish(PublishingError):
    def __init__(self, season_year: int) -> None:
        super().__init__(
            f"No accepted visit of season year {season_year} counts in trends, so there is "
            "nothing to publish. Accept its visits first, or choose another year."
        )


class TableChanged(PublishingError):
    def __init__(self) -> None:
        super().__init__(
            "The table has changed since you looked at it: a visit was accepted, corrected or "
            "opened again. The numbers below are new. Look at them, then publish."
        )


class NothingChanged(PublishingError):
    def __init__(self, previous: Publication) -> None:
        super().__init__(
            f"Nothing in the tables has changed since version {previous.version} of season year "
            f"{previous.season_year}, so there is no new version to publish."
        )


class AlreadyUnderWay(PublishingError):
    def __init__(self, season_year: int) -> None:
        super().__init__(
            f"A publication of season year {season_year} is being made already. Wait until it is "
            "done."
        )


class ReasonNeeded(PublishingError):
    def __init__(self, previous: Publication) -> None:
        super().__init__(
            f"Say why this version replaces version {previous.version}. Readers of the "
            "earlier version need to know."
        )


class NamesCollide(PublishingError):
    def __init__(self, name: str) -> None:
        super().__init__(
            f"Two species of the checklist have the scientific name {name}. Published tables know "
            "a species by this name. Take one of the two off the checklist, or have its name "
            "mended, then publish again."
        )
