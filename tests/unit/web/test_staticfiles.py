"""Every static file that a module, a stylesheet or a template names is there."""

import re
from pathlib import Path
from posixpath import dirname, normpath

from django.contrib.staticfiles import finders

from tests.support.for_each import for_each

ROOT = Path(__file__).parents[3]
WEB = ROOT / "surveys/web"
IMPORT = re.compile(
    r"""^\s*(?:import|export)\b[^;"']*["'](\.{1,2}/[^"']+)["']|\bimport\(["'](\.{1,2}/[^"']+)["']\)""",
    re.MULTILINE,
)
URL = re.compile(r"""\burl\(["']?([^"')]+)["']?\)""")
STATIC_TAG = re.compile(r"""\{%\s*static\s+["']([^"']+)["']""")


def static_paths(extension: str) -> list[str]:
    """The files as addresses name them, below STATIC_URL."""
    return sorted(
        str(path).split("/static/", 1)[1] for path in WEB.rglob(f"static/**/*.{extension}")
    )


def text_of(path: str) -> str:
    return Path(finders.find(path)).read_text()


def missing(path: str, named: list[str]) -> list[str]:
    """Those of the files `named` in the file at `path`, relative to it, that are not there."""
    return [name for name in named if not finders.find(normpath(f"{dirname(path)}/{name}"))]


@for_each("path", static_paths("js"))
def test_modules_import_modules_that_are_there(path: str):
    named = [fixed or dynamic for fixed, dynamic in IMPORT.findall(text_of(path))]
    assert missing(path, named) == []


@for_each("path", static_paths("css"))
def test_stylesheets_name_files_that_are_there(path: str):
    named = [re.split("[?#]", name)[0] for name in URL.findall(text_of(path))]
    assert missing(path, [name for name in named if name and not name.startswith("data:")]) == []


@for_each(
    "path",
    sorted(p for folder in (WEB, ROOT / "accounts") for p in folder.rglob("*.html")),
    lambda path: str(path.relative_to(ROOT)),
)
def test_templates_name_files_that_are_there(path: Path):
    named = STATIC_TAG.findall(path.read_text())
    assert [name for name in named if not finders.find(name)] == []
