"""The texts that say how numbers are made, cut into what can be checked one by one: the page of
the guide, the method that travels with a publication, and what the report says of its pictures."""

import hashlib
import re
from collections.abc import Iterator
from pathlib import Path

from surveys.publishing import method

ROOT = Path(__file__).parents[3]
PAGE = ROOT / "surveys/guide/pages/trend-method.md"
REPORT = ROOT / "surveys/templates/publishing/report.html"
_TAG = re.compile(r"{%.*?%}|<[^>]+>", re.DOTALL)


def texts() -> Iterator[tuple[str, str]]:
    """(where, text), in order: paragraphs of the page, sentences of the method, and the
    explanations of the report."""
    for line in PAGE.read_text("utf-8").splitlines():
        if line.strip() and not line.startswith("#"):
            yield "page", " ".join(line.split())
    for group in (method.COUNTED, method.CORRECTED, method.PRIVACY, method.CAVEATS):
        for text in group:
            yield "method", str(text)
    report = REPORT.read_text("utf-8")
    for found in re.findall(r"<li>(.*?)</li>|<p class=\"overview\">(.*?)</p>", report, re.DOTALL):
        text = " ".join(_TAG.sub(" ", " ".join(found)).split())
        if "{{" not in text or len(text) > 60:
            yield "report", text


def checksum(text: str) -> str:
    """Eight digits that change with the words."""
    return hashlib.sha256(text.encode()).hexdigest()[:8]
