"""A full disk, under the files or under the database, and what is said of it."""

import errno

from surveys.language import gettext

_FULL = (errno.ENOSPC, errno.EDQUOT)
_FULL_DATABASE = "53100"  # disk_full, PostgreSQL documentation, appendix A
# What libraries say that raise no OSError: SQLite in a GeoPackage, and whatever quotes the system.
_SAID = ("disk is full", "No space left on device")


def is_full(error: BaseException | None) -> bool:
    """Whether an error, or one that led to it, is that a disk is full."""
    while error is not None:
        if (
            (isinstance(error, OSError) and error.errno in _FULL)
            or getattr(error, "sqlstate", None) == _FULL_DATABASE
            or any(words in str(error) for words in _SAID)
        ):
            return True
        error = error.__cause__ or error.__context__
    return False


def full_words() -> str:
    return gettext(
        "The server’s disk is full, so this was not saved. What was saved before is safe. "
        "Tell the person who runs this site, and try again later."
    )
