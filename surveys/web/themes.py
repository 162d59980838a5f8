"""Day, night, or as the device has it; and the light of the night."""

from django.http import HttpRequest

THEMES = ("auto", "day", "night")
# Red spares the eyes most. Who does not see red well cannot read it.
NIGHTS = ("red", "amber", "white")
# Relative luminance (WCAG 2.2): of any color of the night, and of the ground of large areas.
BRIGHTEST, BRIGHTEST_GROUND = 0.20, 0.006


def theme_of(request: HttpRequest) -> str:
    """A cookie, so that every answer has it: one about an error too must not dazzle anybody."""
    theme = request.COOKIES.get("theme", "auto")
    return theme if theme in THEMES else "auto"


def night_of(request: HttpRequest) -> str:
    """The light of the night; a cookie for the same reason."""
    night = request.COOKIES.get("night", NIGHTS[0])
    return night if night in NIGHTS else NIGHTS[0]
