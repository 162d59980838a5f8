"""Finds texts that a person reads and that are not marked for translation.

Templates: text between tags, and attributes that are read out. Python: what is given to the calls
and keywords that show it. Scripts: texts between quotes that read like words.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

_MARKS = frozenset(
    ("gettext", "gettext_lazy", "gettext_noop", "ngettext", "ngettext_lazy", "said", "said_of")
)
_WORD = re.compile(r"[^\W\d_]{2,}")
# The same in every language.
INTERNATIONAL = frozenset(
    (
        *("duskpool", "km", "mi", "ft", "mm", "in", "am", "pm", "utc", "kb", "mb"),
        *(
            "json",
            "jsonld",
            "index",
            "dataset",
            "sums",
            "txt",
            "sha",
            "geojson",
            "csv",
            "png",
            "svg",
        ),
    )
)

_SILENT = re.compile(
    r"\{#.*?#\}|\{%\s*comment.*?endcomment\s*%\}|<!--.*?-->|<!DOCTYPE[^>]*>"
    r"|<(script|style|pre|code)\b.*?</\1>"
    r"|\{%\s*block \w*(?:class|scripts)\s*%\}.*?\{%\s*endblock[^%]*%\}"
    r"|\{%\s*blocktranslate.*?endblocktranslate\s*%\}",
    re.DOTALL,
)
_TAG = re.compile(r"</?[a-zA-Z](?:\{%.*?%\}|\{\{.*?\}\}|[^>])*>", re.DOTALL)
_SPOKEN = re.compile(
    r"(?<![\w-])(?:title|aria-label|alt|placeholder|data-label)=\"((?:\{%.*?%\}|\{\{.*?\}\}|[^\"])*)\"",
    re.DOTALL,
)
_CODE = re.compile(r"\{%.*?%\}|\{\{.*?\}\}|&#?\w+;", re.DOTALL)
# Words that go to another template or tag.
_HANDED_ON = re.compile(
    r"\b(?:title|label|action_label|caption|legend|text|where|here)=\"([^\"]*)\""
    r"|\|default:\"([^\"]*)\"|\{%\s*(?:empty_state|map_of \w+)\s+\"([^\"]*)\""
)


def words(text: str) -> list[str]:
    return [word for word in _WORD.findall(text) if word.casefold() not in INTERNATIONAL]


def in_template(source: str) -> Iterator[str]:
    html = _SILENT.sub(" ", source)
    for tag in _TAG.findall(html):
        for spoken in _SPOKEN.findall(tag):
            if words(_CODE.sub(" ", spoken)):
                yield spoken
    text = _TAG.sub("\n", html)
    for code in re.findall(r"\{[%{].*?[%}]\}", text, re.DOTALL):
        for found in _HANDED_ON.findall(code):
            yield from (word for word in found if re.match(r"[A-Z“]", word) or " " in word)
    for line in _CODE.sub("\n", text).splitlines():
        if words(line):
            yield line.strip()


# Calls that show their text, with the place of the text among the arguments; keywords that do.
_SHOWING = {
    "success": 1,
    "error": 1,
    "info": 1,
    "warning": 1,
    "ValidationError": 0,
    "add_error": 1,
    "Http404": 0,
    "EntryError": 0,
}
_SHOWN = frozenset(("label", "help_text", "empty_label", "title", "heading", "question", "caption"))


def in_python(source: str) -> Iterator[str]:
    for node in ast.walk(ast.parse(source)):
        if not isinstance(node, ast.Call):
            continue
        name = getattr(node.func, "attr", getattr(node.func, "id", ""))
        place = _SHOWING.get(name)
        given = [node.args[place]] if place is not None and len(node.args) > place else []
        if name == "ValidationError":
            given += [value for one in given if isinstance(one, ast.Dict) for value in one.values]
        given += [keyword.value for keyword in node.keywords if keyword.arg in _SHOWN]
        for value in given:
            text = _text_of(value)
            if words(text) and re.search(r"[A-Z ]", text):
                yield text


def _text_of(node: ast.expr) -> str:
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if isinstance(node, ast.JoinedStr):
        return "".join(v.value for v in node.values if isinstance(v, ast.Constant))
    return ""


_COMMENT = re.compile(r"(?<!:)//[^\n]*|/\*.*?\*/", re.DOTALL)
_STRING = re.compile(r"\"((?:[^\"\\\n]|\\.)*)\"|`((?:[^`\\]|\\.)*)`")
_MARKED_BEFORE = re.compile(r"\b(?:gettext|ngettext|marked)\(\s*(?:\"(?:[^\"\\]|\\.)*\",\s*)?$")
_SENTENCE = re.compile(r"^[A-Z“][a-z’]+(?: [^.]|[.?!…:]$)|[a-z] .*[a-z][.?!…]$|^[A-Z][a-z]{3,}$")


# Names of keys and of GeoJSON; an error of a programmer.
_NO_TEXTS = ("Delete", "Backspace", "Escape", "Enter", "Point", "Unknown theme: x")


def in_script(source: str) -> Iterator[str]:
    """Texts that begin like a sentence or end like one; single words with a capital."""
    source = _COMMENT.sub(" ", source)
    for match in _STRING.finditer(source):
        text = re.sub(r"\$\{.*?\}", "x", match[1] or match[2] or "")
        if text in _NO_TEXTS:
            continue
        if _SENTENCE.search(text) and not _MARKED_BEFORE.search(source[: match.start()]):
            yield text


def files(root: Path, *patterns: str) -> Iterator[Path]:
    for pattern in patterns:
        yield from sorted(root.glob(pattern))
