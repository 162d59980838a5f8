"""Day, night, or as the device has it."""

from django.http import HttpRequest

THEMES = ("auto", "day", "night")


def theme_of(request: HttpRequest) -> str:
    """A cookie, so that every answer has it: one about an error too must not dazzle anybody."""
    theme = request.COOKIES.get("theme", "auto")
    return theme if theme in THEMES else "auto"
