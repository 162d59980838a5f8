"""Which files the survey screen consists of, and how the phone knows that they changed and that
what it got is them."""

import base64
import hashlib
import posixpath
import re
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
    "survey/survey.css",
)
PICTURES = ("web/icons.svg", "web/mark.svg")
_FOLDER = "survey"
# What the first screen starts from; it is fetched with all that it imports, and the rest follows.
_FIRST = (f"{_FOLDER}/app.js", f"{_FOLDER}/screens/home.js")
_IMPORT = re.compile(r"""^(?:import|export)\b[^"';]*["'](\.{1,2}/[^"']+)["']""", re.MULTILINE)


@lru_cache(maxsize=1)
def modules() -> tuple[str, ...]:
    """Every module of the survey, below the static root."""
    root = Path(finders.find(f"{_FOLDER}/app.js")).parent
    return tuple(sorted(f"{_FOLDER}/{path.relative_to(root)}" for path in root.rglob("*.js")))


@lru_cache(maxsize=1)
def first_modules() -> tuple[str, ...]:
    """Addresses of the modules of the first screen, to be fetched all at once: an import is
    otherwise asked for only when the module that names it has come."""
    found = list(_FIRST)
    for path in found:
        text = Path(finders.find(path)).read_text("utf-8")
        named = (posixpath.join(posixpath.dirname(path), name) for name in _IMPORT.findall(text))
        found.extend(other for other in map(posixpath.normpath, named) if other not in found)
    return tuple(module_url(path) for path in found)


def module_url(path: str) -> str:
    """The address without a fingerprint: modules name each other by it."""
    return f"{settings.STATIC_URL}{path}"


@lru_cache(maxsize=1)
def files() -> dict[str, str]:
    """Addresses of all that the screen needs besides its page, with their integrity (W3C
    Subresource Integrity): a page to sign in to a network, answered for a file, is not it.

    The bytes are those of the source; collecting the files gives them names but no other bytes.
    """
    named = {static(path): path for path in (*STYLES, *PICTURES)}
    named |= {module_url(path): path for path in modules()}
    return {address: _integrity(Path(finders.find(path))) for address, path in named.items()}


def _integrity(path: Path) -> str:
    digest = hashlib.sha256(path.read_bytes()).digest()
    return f"sha256-{base64.b64encode(digest).decode()}"


@lru_cache(maxsize=1)
def fingerprint() -> str:
    """A new one whenever a file of the screen or its page changes."""
    digest = hashlib.sha256()
    here = Path(__file__).parent
    components = here.parent / "templates/web/components"
    parts = (components / f"{name}.html" for name in ("cautions", "icon"))
    pages = [*(here / "templates/survey").iterdir(), *parts]
    found = [Path(finders.find(path)) for path in (*STYLES, *PICTURES, *modules())]
    for path in (*found, *sorted(pages)):
        digest.update(path.name.encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()[:16]
