"""Which files the survey screen consists of, and how the phone knows that they changed."""

import hashlib
from functools import lru_cache
from pathlib import Path

from django.conf import settings
from django.contrib.staticfiles import finders
from django.templatetags.static import static

STYLES = (
    "web/css/tokens.css",
    "web/css/base.css",
    "web/css/forms.css",
    "web/css/components.css",
    "web/css/night.css",
    "web/survey/survey.css",
)
PICTURES = ("web/icons.svg", "web/mark.svg")
_FOLDER = "web/survey"
# What the first screen needs; the rest follows once it stands.
FIRST = (
    "app",
    "clock",
    "dom",
    "model",
    "store",
    "theme",
    "timing",
    "clocktimes",
    "reading",
    "place",
)
_SCREENS = ("home", "stop", "ring", "calls", "conditions")


@lru_cache(maxsize=1)
def modules() -> tuple[str, ...]:
    """Every module of the survey, below the static root."""
    root = Path(finders.find(f"{_FOLDER}/app.js")).parent
    return tuple(sorted(f"{_FOLDER}/{path.relative_to(root)}" for path in root.rglob("*.js")))


def first_modules() -> list[str]:
    """Addresses of the modules of the first screen, to be fetched all at once."""
    names = [*FIRST, *(f"screens/{name}" for name in _SCREENS)]
    return [module_url(f"{_FOLDER}/{name}.js") for name in names]


def module_url(path: str) -> str:
    """The address without a fingerprint: modules name each other by it."""
    return f"{settings.STATIC_URL}{path}"


def files() -> list[str]:
    """Addresses of all that the screen needs besides its page."""
    return [
        *(static(path) for path in (*STYLES, *PICTURES)),
        *(module_url(path) for path in modules()),
    ]


@lru_cache(maxsize=1)
def fingerprint() -> str:
    """A new one whenever a file of the screen or its page changes."""
    digest = hashlib.sha256()
    templates = Path(__file__).parent / "templates/web"
    pages = [*(templates / "survey").iterdir(), templates / "components/cautions.html"]
    found = [Path(finders.find(path)) for path in (*STYLES, *PICTURES, *modules())]
    for path in (*found, *sorted(pages)):
        digest.update(path.name.encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()[:16]
