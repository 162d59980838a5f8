"""The guide: Markdown files in `pages/`, shown in the app.

Each file starts with a `# title`. Every rule of the protocol has a `## code` section in
`rules.md`, every rule of reading a sheet one in `reading.md`; findings link to it. The table of
`words.md` is the list of `surveys/guide/words.py`, and `[CAUTIONS]` stands for that of
`surveys/guide/cautions.py`.
"""

from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from pathlib import Path

from markdown_it import MarkdownIt

from surveys.guide.cautions import cautions
from surveys.guide.words import words_table

PAGES = Path(__file__).parent / "pages"

# The guide's reading order. Pages that are not listed here are not shown.
ORDER = (
    "how-to-survey",
    "cautions",
    "words",
    "call-index",
    "weather",
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
    """A page of the guide; `html` is safe, rendered from our own Markdown."""

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
    """The safe HTML of each rule's section, without its heading, by rule code."""
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
    written = (PAGES / f"{slug}.md").read_text(encoding="utf-8")
    if slug == "words":
        return f"{written}\n{words_table()}"
    return written.replace("[CAUTIONS]", "\n".join(f"- {text}" for text in cautions()))


def _render(markdown: str) -> str:
    parser = MarkdownIt("commonmark", {"html": False}).enable("table")
    tokens = parser.parse(markdown)
    for token, next_token in pairwise(tokens):
        if token.type == "heading_open":
            token.attrSet("id", heading_id(next_token.content))
    return str(parser.renderer.render(tokens, parser.options, {}))


def heading_id(heading: str) -> str:
    """The anchor of a heading: its words, lower-case, joined by hyphens."""
    characters = (character if character.isalnum() else " " for character in heading.lower())
    return "-".join("".join(characters).split())
