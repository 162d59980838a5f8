"""The tabs over the pages that set a program up."""

from typing import Any

from django import template

from surveys.models import Program
from surveys.web.program.sections import section_tabs

register = template.Library()


@register.inclusion_tag("program/tabs.html")
def program_tabs(program: Program, section: str) -> dict[str, Any]:
    """One row on a desk; on a phone the section that is open, and a menu of all."""
    return {"tabs": section_tabs(program, section)}
