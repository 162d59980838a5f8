"""Where the demo's chance comes from: one stream for each named purpose."""

from random import Random


def dice(*purpose: object) -> Random:
    """The same stream for the same purpose, on every machine."""
    return Random("/".join(str(part) for part in purpose))  # noqa: S311
