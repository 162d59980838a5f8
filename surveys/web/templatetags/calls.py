"""Calls that a page plays."""

from decimal import Decimal
from typing import Any

from django import template

from surveys.models import Program, Species
from surveys.programs.versions import units_of
from surveys.protocol.weather import show_temperature
from surveys.web.calls.shown import is_high_voice, made_calls, settings

register = template.Library()


@register.filter
def air_in(celsius: float | Decimal, program: Program) -> str:
    """An air temperature in the unit of the program."""
    return show_temperature(Decimal(str(celsius)), units_of(program).temperature)


@register.inclusion_tag("calls/made.html")
def made_call(species: Species, celsius: float | str = "") -> dict[str, Any]:
    """Buttons for the calls of a species that are made by computer, and the same in words."""
    made, missing = ([], []) if species.is_silent else made_calls(species)
    return {
        "made": made,
        "missing": missing,
        # An empty text where the page knows no temperature.
        "celsius": celsius if isinstance(celsius, str) else f"{celsius:.1f}",
        "is_high": is_high_voice(species),
    }


@register.inclusion_tag("calls/settings.html")
def call_settings() -> dict[str, Any]:
    """How the calls of the page sound: who calls, how far away, at what temperature."""
    return {"selects": settings()}
