"""The context of every page: the program, its navigation and the theme."""

from typing import Any

from django.http import HttpRequest
from django.urls import reverse
from django.utils.translation import gettext_lazy

from accounts.access import (
    Permission,
    last_membership,
    may,
)
from accounts.models import Membership
from surveys.language import gettext
from surveys.web.closing import notice
from surveys.web.land.sources import base_map
from surveys.web.script_texts import script_catalog
from surveys.web.themes import night_of, theme_of

SURVEY = "web:survey"
NAVIGATION = (
    (gettext_lazy("Desk"), "web:desk", Permission.REVIEW),
    (gettext_lazy("Tonight"), "web:tonight", Permission.SURVEY),
    (gettext_lazy("Survey"), SURVEY, Permission.SURVEY),
    (gettext_lazy("Review"), "web:review", Permission.REVIEW),
    (gettext_lazy("Seasons"), "web:seasons", Permission.READ_SEASONS),
    (gettext_lazy("Trends"), "web:trends", Permission.READ_RESULTS),
    (gettext_lazy("Publications"), "web:publications", Permission.READ_RESULTS),
    (gettext_lazy("Program"), "web:program", Permission.MANAGE),
)


def navigation(request: HttpRequest, membership: Membership) -> list[dict[str, Any]]:
    slug = membership.program.slug
    # Who reviews has more pages than the bar of a phone holds, and gets to the survey by Tonight.
    left_out = {SURVEY} if may(membership, Permission.REVIEW) else set()
    items = [
        {"name": name, "url": reverse(route, kwargs={"program": slug})}
        for name, route, permission in NAVIGATION
        if may(membership, permission) and route not in left_out
    ]
    items.append({"name": gettext("Guide"), "url": reverse("web:guide")})
    for item in items:
        item["current"] = request.path.startswith(item["url"])
    return items


def shell(request: HttpRequest) -> dict[str, Any]:
    """The context processor of the base template."""
    membership = getattr(request, "membership", None)
    if membership is None and hasattr(request, "user"):
        membership = last_membership(request)
    return {
        "site_notice": notice(request),
        "theme": theme_of(request),
        "night": night_of(request),
        "membership": membership,
        "program": membership.program if membership else None,
        "nav_items": navigation(request, membership) if membership else [],
        "script_catalog": script_catalog,
        "base_map": base_map,
    }
