"""Components of the screens: small signs, and blocks that hold a text of their own.

Built in for every template. A tag sees only what it is given, so that no variable of the page, such
as a `label`, gets into it by accident.
"""

from typing import Any

from django import template
from django.forms.utils import flatatt
from django.template.context import Context
from django.template.loader import render_to_string
from django.utils.safestring import SafeString
from django.utils.translation import gettext, gettext_lazy

from surveys.models import Program, VisitState
from surveys.programs.regional import cautions_of
from surveys.protocol.values import Severity
from surveys.web.own_static import own_static

register = template.Library()

_NOT_REACHED = ("not-reached", "skipped")
_SEVERITY_WORDS = {
    Severity.REFUSE: (gettext_lazy("Must fix"), gettext_lazy("Must fix")),
    Severity.QUERY: (gettext_lazy("Question"), gettext_lazy("Questions")),
    Severity.NOTE: (gettext_lazy("Note"), gettext_lazy("Notes")),
}


@register.simple_block_tag
def empty_state(
    content: str, title: str, icon: str = "", action_url: str = "", action_label: str = ""
) -> str:
    """Says that there is nothing here yet, and what brings something: the text within the tag."""
    context = {"title": title, "text": SafeString(" ".join(content.split())), "icon": icon}
    context |= {"action_url": action_url, "action_label": action_label}
    return render_to_string("web/components/empty.html", context)


@register.inclusion_tag("web/components/icon.html")
def icon(name: str) -> dict[str, str]:
    """A sign of `web/icons.svg`, hidden from screen readers: words stand beside it."""
    return {"name": name, "icons": own_static("web/icons.svg")}


@register.inclusion_tag("web/components/call_index.html")
def call_index(value: int | str | None, *, large: bool = False) -> dict[str, Any]:
    """0-3, `not-sure`, `not-reached` or `skipped`; None and "" are no record."""
    value = "not-reached" if value in _NOT_REACHED else value
    return {"value": value, "is_missing": value in (None, ""), "large": large}


@register.inclusion_tag("web/components/severity.html")
def severity(value: str, *, count: int | None = None) -> dict[str, Any]:
    """The severity of a finding, or with `count` how many findings have it."""
    singular, plural = _SEVERITY_WORDS[Severity(value)]
    words = singular if count in (None, 1) else plural
    return {"severity": value, "count": count, "words": words}


@register.inclusion_tag("web/components/visit_state.html")
def visit_state(state: str, *, withdrawn: bool = False) -> dict[str, str]:
    """Where a visit is in its life, as a tag. `withdrawn`: its observer has it back to change it,
    and nobody sent it."""
    label = gettext("Withdrawn") if withdrawn else VisitState(state).label
    return {"name": state.replace("_", "-"), "label": label}


@register.inclusion_tag("web/components/cautions.html")
def cautions(program: Program | None = None, *, title: str = "") -> dict[str, Any]:
    """The cautions in short, those of the program's region among them."""
    return {"title": title, "texts": list(cautions_of(program))}


@register.simple_tag
def map_sources(base_map: dict[str, Any]) -> str:
    """Attributes that tell a map where its ground comes from: surveys/web/land/sources.py."""
    return flatatt({f"data-{name.replace('_', '-')}": value for name, value in base_map.items()})


@register.inclusion_tag("web/components/map.html", takes_context=True)
def map_of(context: Context, data: dict[str, Any], label: str) -> dict[str, Any]:
    """A map of a GeoJSON feature collection. `label` says where the same stands in words."""
    shell = ("program", "base_map")
    return {"data": data, "label": label} | {name: context.get(name) for name in shell}
