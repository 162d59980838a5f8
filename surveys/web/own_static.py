"""Static files that have to come from the host of the page itself, wherever others come from."""

from django.conf import settings
from django.templatetags.static import static


def own_static(path: str) -> str:
    """The URL of a static file on the host of the page.

    Browsers refuse `<use>` of a picture on another host, and the phone keeps what comes from its
    own."""
    return f"{settings.STATIC_PATH}{static(path).removeprefix(settings.STATIC_URL)}"
