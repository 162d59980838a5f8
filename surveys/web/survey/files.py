"""The files of the survey screen, with a fingerprint that tells phones when they changed and
integrity hashes that prove that a download is intact."""

import base64
import hashlib
import posixpath
import re
from functools import lru_cache
from pathlib import Path

from django.conf import settings
from django.contrib.staticfiles import finders

from surveys.web.own_static import own_static

STYLES = (
    "web/css/tokens.css",
    "web/css/base.css",
    "web/css/forms.css",
    "web/css/components.css",
    "web/css/night.css",
    "survey/survey.css",
)
# The service worker is served by its view, which tells it what it has to keep.
WORKER = Path(__file__).parent / "worker.js"
# The worker that leads to the survey where there is no network.
OFFLINE_WORKER = Path(__file__).parent / "offline.js"
PICTURES = ("web/icons.svg", "web/mark.svg")
_FOLDER = "survey"
# Modules of other screens that the survey uses.
_SHARED = ("calls/chance.js", "calls/page.js", "calls/player.js", "calls/synthesis.js")
# Entry points of the first screen; they are preloaded with all that they import.
_FIRST = (f"{_FOLDER}/app.js", f"{_FOLDER}/screens/home.js")
_IMPORT = re.compile(r"""^(?:import|export)\b[^"';]*["'](\.{1,2}/[^"']+)["']""", re.MULTILINE)


@lru_cache(maxsize=1)
def modules() -> tuple[str, ...]:
    """Every module of the survey, as paths below the static root."""
    root = Path(finders.find(f"{_FOLDER}/app.js")).parent
    own = (f"{_FOLDER}/{path.relative_to(root)}" for path in root.rglob("*.js"))
    return tuple(sorted((*own, *_SHARED)))


@lru_cache(maxsize=1)
def first_modules() -> tuple[str, ...]:
    """URLs of the modules of the first screen, to be preloaded in parallel: an import is
    otherwise requested only after the module that contains it has arrived."""
    paths = list(_FIRST)
    for path in paths:
        text = Path(finders.find(path)).read_text("utf-8")
        named = (posixpath.join(posixpath.dirname(path), name) for name in _IMPORT.findall(text))
        paths.extend(other for other in map(posixpath.normpath, named) if other not in paths)
    return tuple(module_url(path) for path in paths)


def module_url(path: str) -> str:
    """The URL without a fingerprint, by which modules import each other."""
    return f"{settings.STATIC_PATH}{path}"


@lru_cache(maxsize=1)
def files() -> dict[str, str]:
    """URLs of all files that the screen needs besides its page, with their integrity (W3C
    Subresource Integrity), so that the sign-in page of a wireless network is never mistaken for
    one of them.

    The hashes are of the sources: collecting static files renames them but keeps their bytes.
    """
    named = {own_static(path): path for path in (*STYLES, *PICTURES)}
    named |= {module_url(path): path for path in modules()}
    return {address: _integrity(Path(finders.find(path))) for address, path in named.items()}


def _integrity(path: Path) -> str:
    digest = hashlib.sha256(path.read_bytes()).digest()
    return f"sha256-{base64.b64encode(digest).decode()}"


@lru_cache(maxsize=1)
def fingerprint() -> str:
    """Changes whenever a file of the screen or its page changes."""
    digest = hashlib.sha256()
    here = Path(__file__).parent
    components = here.parent / "templates/web/components"
    parts = (components / f"{name}.html" for name in ("cautions", "icon"))
    pages = [WORKER, OFFLINE_WORKER, *(here / "templates/survey").iterdir(), *parts]
    static_files = [Path(finders.find(path)) for path in (*STYLES, *PICTURES, *modules())]
    for path in (*static_files, *sorted(pages)):
        digest.update(path.name.encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()[:16]
