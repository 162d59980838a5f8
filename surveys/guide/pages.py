"""The guide: Markdown files in `pages/`, shown in the app.

Each file starts with a `# title`. In `rules.md` every rule of the protocol, and in
`reading.md` every rule of reading a sheet, has its own `## code` section, which a
finding links to.
"""

from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from pathlib import Path

from markdown_it import MarkdownIt

PAGES = Path(__file__).parent / "pages"

# Reading order of the guide. A page that is not listed here is not shown.
ORDER = (
    "how-to-survey",
    "cautions",
    "call-index",
    "weather-codes",
    "seasons-and-nights",
    "limits",
    "review",
    "rules",
    "reading",
    "trend-method",
    "sharing",
    "sources",
)


@dataclass(frozen=True, kw_only=True)
class GuidePage:
    """A page of the guide: `html` is safe, made from our own Markdown."""

    slug: str
    title: str
    html: str


@cache
def guide_pages() -> tuple[GuidePage, ...]:
    """All pages in reading order."""
    return tuple(_read(slug) for slug in ORDER)


def guide_page(slug: str) -> GuidePage | None:
    return next((page for page in guide_pages() if page.slug == slug), None)


@cache
def rule_sections() -> dict[str, str]:
    """Rule code -> safe HTML of its section, without the heading."""
    sections = {}
    for slug in ("rules", "reading"):
        for section in _source(slug).split("\n## ")[1:]:
            heading, _, body = section.partition("\n")
            sections[heading.strip()] = _render(body)
    return sections


def _read(slug: str) -> GuidePage:
    first, _, body = _source(slug).partition("\n")
    return GuidePage(slug=slug, title=first.removeprefix("# ").strip(), html=_render(body))


def _source(slug: str) -> str:
    return (PAGES / f"{slug}.md").read_text(encoding="utf-8")


def _render(markdown: str) -> str:
    parser = MarkdownIt("commonmark", {"html": False}).enable("table")
    tokens = parser.parse(markdown)
    for token, following in pairwise(tokens):
        if token.type == "heading_open":
            token.attrSet("id", heading_id(following.content))
    return str(parser.renderer.render(tokens, parser.options, {}))


def heading_id(heading: str) -> str:
    """The anchor of a heading: its letters and digits, joined by hyphens."""
    kept = (sign if sign.isalnum() else " " for sign in heading.lower())
    return "-".join("".join(kept).split())
