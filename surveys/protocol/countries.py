"""Country codes of ISO 3166-1 alpha-2, as the time zone database lists them (iso3166.tab).

`fixtures/texts.py` marks the names for translation."""

from __future__ import annotations

from functools import cache
from importlib.resources import files


@cache
def countries() -> dict[str, str]:
    """English name by code."""
    text = files("tzdata.zoneinfo").joinpath("iso3166.tab").read_text("utf-8")
    lines = (line.split("\t") for line in text.splitlines() if not line.startswith("#"))
    return dict(lines)
