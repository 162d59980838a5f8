"""The content security policy allows no inline script or style, so no template may hold one."""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[3]
TEMPLATES = sorted(
    path
    for folder in ("surveys/web", "accounts/templates")
    for path in (ROOT / folder).rglob("*.html")
)
INLINE = {
    "a style attribute": r"\sstyle\s*=",
    "a style element": r"<style\b",
    "a script without a source": r"<script(?![^>]*\ssrc=)(?![^>]*application/json)[^>]*>",
    "an event attribute": r"\son[a-z]+\s*=\s*[\"']",
    "a javascript address": r"javascript:",
}


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: str(path.relative_to(ROOT)))
def test_template_has_nothing_inline(path: Path):
    text = path.read_text()
    assert [name for name, pattern in INLINE.items() if re.search(pattern, text)] == []
