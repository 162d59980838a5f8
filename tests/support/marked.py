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
    r"|<(script|style)\b.*?</\1>"
    r"|\{%\s*block \w*(?:class|scripts)\s*%\}.*?\{%\s*endblock[^%]*%\}"
    r"|\{%\s*blocktranslate.*?endblocktranslate\s*%\}",
    re.DOTALL,
)
# What a machine is told; the tag itself may have words for a reader.
_CODE_BLOCK = re.compile(r"(<(pre|code)\b[^>]*>).*?</\2>", re.DOTALL)
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
    html = _SILENT.sub(" ", _CODE_BLOCK.sub(r"\1", source))
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


_BLOCK = re.compile(r"\{%\s*blocktranslate\b(.*?)%\}(.*?)\{%\s*endblocktranslate\s*%\}", re.DOTALL)
_MARKED = re.compile(r"\{%\s*translate\s+\"([^\"]*)\"")


def pieces_in_template(source: str) -> Iterator[str]:
    """Marked texts that go on from another text, so that no translation can put them in an order
    of its own; names that a block is given and does not use."""
    texts = [match[1] for match in _MARKED.finditer(source)]
    for match in _BLOCK.finditer(source):
        texts.append(match[2])
        # A counter chooses the plural, also where its number is shown with a comma in thousands.
        for name in re.findall(r"\b(?!counter=)(\w+)=", match[1]):
            if not re.search(rf"\{{\{{\s*{name}\s*\}}\}}", match[2]):
                yield name
    yield from (text for text in map(str.strip, texts) if re.match(r"[,.;:)]", text))


# Calls that show their text, with the place of the text among the arguments; keywords and keys of
# attributes that do.
_SHOWING = {
    "success": 1,
    "error": 1,
    "info": 1,
    "warning": 1,
    "fail": 1,
    "ValidationError": 0,
    "add_error": 1,
    "Http404": 0,
    "EntryError": 0,
}
_SHOWN = frozenset(("label", "help_text", "empty_label", "title", "heading", "question", "caption"))
_SPOKEN_KEYS = frozenset(("aria-label", "placeholder", "alt", "title"))


def in_python(source: str) -> Iterator[str]:
    tree = ast.parse(source)
    yield from dict.fromkeys((*_unmarked(tree), *_glued(tree)))


def _unmarked(tree: ast.Module) -> Iterator[str]:
    for node in ast.walk(tree):
        given: list[ast.expr] = []
        if isinstance(node, ast.Call):
            name = _called(node)
            place = _SHOWING.get(name)
            given = [node.args[place]] if place is not None and len(node.args) > place else []
            if name == "ValidationError":
                given += [
                    value for one in given if isinstance(one, ast.Dict) for value in one.values
                ]
            given += [keyword.value for keyword in node.keywords if keyword.arg in _SHOWN]
        elif isinstance(node, ast.Dict):
            given = [
                value
                for key, value in zip(node.keys, node.values, strict=True)
                if isinstance(key, ast.Constant) and key.value in _SPOKEN_KEYS
            ]
        for value in given:
            text = _text_of(value)
            if words(text) and re.search(r"[A-Z ]", text):
                yield text


def _glued(tree: ast.Module) -> Iterator[str]:
    """Words around values in an f-string. What is raised is for programmers, or shown by a call
    above; dates and addresses have no words side by side."""
    unseen = {
        id(part)
        for node in ast.walk(tree)
        if isinstance(node, ast.Raise)
        for part in ast.walk(node)
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr) and id(node) not in unseen:
            text = _text_of(node)
            if _SIDE_BY_SIDE.search(text) and text not in _KEYS and "SELECT" not in text:
                yield text


# Names of jobs.
_KEYS = ("power study █", "█ of program █")


def sentences_in_python(source: str) -> Iterator[str]:
    """Texts that begin and end like a sentence and are in no call that marks them; docstrings and
    what is raised left out."""
    tree = ast.parse(source)
    left_out = {
        id(part)
        for node in ast.walk(tree)
        if isinstance(node, ast.Raise | ast.Expr)
        or (isinstance(node, ast.Call) and _called(node) in _MARKS | {"_"})
        for part in ast.walk(node)
    }
    for node in ast.walk(tree):
        if id(node) not in left_out and _WHOLE.match(_text_of(node)):
            yield _text_of(node)


_WHOLE = re.compile(r"[A-Z“][\w’]*(?: [^<>]*)? [^<>]*[.?!]$", re.DOTALL)


def _called(node: ast.Call) -> str:
    return getattr(node.func, "attr", getattr(node.func, "id", ""))


_SIDE_BY_SIDE = re.compile(r"(?:^|[ (])[^\W\d_]{2,}[,.:]? [^\W\d_]{2,}(?:$|[ ,.:)])")


def _text_of(node: ast.expr) -> str:
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if isinstance(node, ast.JoinedStr):
        return "".join(str(v.value) if isinstance(v, ast.Constant) else "█" for v in node.values)
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
