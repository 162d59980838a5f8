"""The guide: Markdown files in `pages/`, shown in the app.

Each file starts with a `# title`. Every rule of the protocol has a section in `rules.md`, every
rule of reading a sheet one in `reading.md`; findings link to it. Its heading ends in the code of
the rule, which is its anchor: "## Too cold `too-cold`". The table of `words.md` is the list of
`surveys/guide/words.py`, and `[CAUTIONS]` stands for that of `surveys/guide/cautions.py`.

English stands in `pages/`, another language in a folder of its own: `pages/fr/rules.md`. A page, or
the section of a rule, that is not there yet is shown in English. A translated `words.md` has a
table of its own.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from pathlib import Path

from markdown_it import MarkdownIt
from markdown_it.token import Token

from surveys.guide.cautions import cautions
from surveys.guide.words import words_table
from surveys.language import language, unbroken_degrees

PAGES = Path(__file__).parent / "pages"
ENGLISH = "en"
_COLUMNS_OF_A_BLOCK = 4
_CODE = re.compile(r"`([a-z-]+)`$")

# The guide's reading order: for those who survey, then for those who run a program or read results.
# Pages that are not listed here are not shown.
FOR_OBSERVERS = (
    "how-to-survey",
    "cautions",
    "call-index",
    "calls",
    "learning",
    "weather",
    "seasons-and-nights",
    "rules",
    "reading",
    "words",
)
ORDER = (
    *FOR_OBSERVERS,
    "desk",
    "limits",
    "own-species",
    "own-fields",
    "importing-routes",
    "importing",
    "review",
    "trend-method",
    "wetlands",
    "sharing",
    "sources",
)


@dataclass(frozen=True, kw_only=True)
class GuidePage:
    """A page of the guide; `html` is safe, rendered from our own Markdown. `language` is the one it
    is written in: English where nobody has translated the page yet."""

    slug: str
    title: str
    html: str
    language: str


def guide_pages() -> tuple[GuidePage, ...]:
    """All pages in reading order, in the reader's language."""
    return _pages(PAGES, language())


def guide_page(slug: str) -> GuidePage | None:
    return next((page for page in guide_pages() if page.slug == slug), None)


def rule_sections() -> dict[str, str]:
    """The safe HTML of each rule's section, without its heading, by rule code. A section that is
    not translated is the English one."""
    return _sections(PAGES, language())


@cache
def _pages(folder: Path, wanted: str) -> tuple[GuidePage, ...]:
    return tuple(_read(_file(folder, wanted, slug)) for slug in ORDER)


@cache
def _sections(folder: Path, wanted: str) -> dict[str, str]:
    sections = {}
    for slug in ("rules", "reading"):
        for file in (folder / f"{slug}.md", _file(folder, wanted, slug)):
            for section in _source(file).split("\n## ")[1:]:
                heading, _, body = section.partition("\n")
                sections[heading_id(heading.strip())] = _render(body)
    return sections


def _file(folder: Path, wanted: str, slug: str) -> Path:
    """`pages/pt-br/SLUG.md`, `pages/pt/SLUG.md` or `pages/SLUG.md`, the first that is there."""
    own = (folder / name / f"{slug}.md" for name in (wanted, wanted.partition("-")[0]))
    return next((file for file in own if file.is_file()), folder / f"{slug}.md")


def _read(file: Path) -> GuidePage:
    first, _, body = _source(file).partition("\n")
    return GuidePage(
        slug=file.stem,
        title=first.removeprefix("# ").strip(),
        html=_render(body),
        language=ENGLISH if _is_english(file) else file.parent.name,
    )


def _source(file: Path) -> str:
    written = file.read_text(encoding="utf-8")
    if file.stem == "words" and _is_english(file):
        return f"{written}\n{words_table()}"
    return written.replace("[CAUTIONS]", "\n".join(f"- {text}" for text in cautions()))


def _is_english(file: Path) -> bool:
    return file.parent.name == PAGES.name


def _render(markdown: str) -> str:
    parser = MarkdownIt("commonmark", {"html": False}).enable("table")
    tokens = parser.parse(markdown)
    _label_cells(tokens)
    for token, next_token in pairwise(tokens):
        if token.type == "heading_open":
            token.attrSet("id", heading_id(next_token.content))
    return unbroken_degrees(str(parser.renderer.render(tokens, parser.options, {})))


def _label_cells(tokens: Sequence[Token]) -> None:
    """In a table of four columns each cell has the head of its column as `data-label`: narrow
    screens show a row as a block."""
    heads: list[str] = []
    column = 0
    for token, content in pairwise(tokens):
        if token.type == "table_open":
            heads = []
        elif token.type == "tr_open":
            column = 0
        elif token.type == "th_open":
            heads.append(content.content)
        elif token.type == "td_open":
            if len(heads) == _COLUMNS_OF_A_BLOCK:
                token.attrSet("data-label", heads[column])
            column += 1


def heading_id(heading: str) -> str:
    """The anchor of a heading: the code it ends in, or its words, lower-case, joined by hyphens."""
    if code := _CODE.search(heading):
        return code[1]
    characters = (character if character.isalnum() else " " for character in heading.lower())
    return "-".join("".join(characters).split())
