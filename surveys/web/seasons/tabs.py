"""The tabs of Seasons, and the addresses of its files. They carry the filters that they share."""

from __future__ import annotations

from urllib.parse import urlencode

from django.http import HttpRequest
from django.urls import reverse

from surveys.language import gettext

_OF_ONE_SEASON = ("season_coverage", "season_changed")


def tabs(request: HttpRequest, current: str) -> list[dict[str, object]]:
    kept = {
        key: request.GET[key]
        for key in ("species", "region", "stratum", "since", "until")
        if request.GET.get(key)
    }
    names = (
        ("seasons", gettext("Routes and years")),
        ("season_changed", gettext("What changed")),
        ("season_coverage", gettext("Coverage")),
        ("season_map", gettext("Map")),
    )
    return [
        {
            "name": name,
            "url": _url(request, route, _query(route, kept)),
            "current": route == current,
        }
        for route, name in names
    ]


def _query(route: str, kept: dict[str, str]) -> dict[str, str]:
    if route in _OF_ONE_SEASON:
        return {key: value for key, value in kept.items() if key in ("region", "stratum")}
    return kept


def csv_url(request: HttpRequest, name: str) -> str:
    """The file of what the page shows."""
    return _url(request, name, {key: value for key, value in request.GET.items() if value})


def _url(request: HttpRequest, name: str, query: dict[str, str]) -> str:
    address = reverse(f"web:{name}", kwargs={"program": request.membership.program.slug})
    return address + (f"?{urlencode(query)}" if query else "")
