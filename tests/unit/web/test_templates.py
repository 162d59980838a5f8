"""The content security policy allows no inline script or style, so no template may hold one."""

import re
from pathlib import Path

from tests.support.for_each import for_each

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


@for_each("path", TEMPLATES, lambda path: str(path.relative_to(ROOT)))
def test_template_has_nothing_inline(path: Path):
    text = path.read_text()
    assert [name for name, pattern in INLINE.items() if re.search(pattern, text)] == []


def test_every_way_to_sign_out_takes_places_off_the_device():
    """`static/web/js/sign-out.js` listens to these forms; every page loads it."""
    forms = [
        form
        for path in TEMPLATES
        for form in re.findall(r"<form\b[^>]*?>", path.read_text())
        if re.search(r"account_logout|logout_url", form)
    ]
    assert len(forms) >= 5
    assert [form for form in forms if "data-sign-out" not in form] == []
    assert "web/js/sign-out.js" in (ROOT / "surveys/web/templates/web/base.html").read_text()
