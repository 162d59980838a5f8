"""Every text that a reader can see: templates with their mails and PDF, strings of Python and of
scripts, pages of the guide. Each is yielded with the file and the line it begins on.
"""

import ast
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

PROJECT = Path(__file__).parents[2]
PACKAGES = ("surveys", "accounts")
# Frozen words of old findings, and pages of the administration of the site, which no member sees.
_NOT_VISIBLE = ("migrations", "management", "admin.py")
_TEMPLATE_CODE = re.compile(
    r"\{%.*?%\}|\{#.*?#\}|<!--.*?-->|<(?:script|style)\b.*?</(?:script|style)>", re.S
)
_SPOKEN_TAG = re.compile(r"\{%-?\s*(?:translate|trans|empty_state|icon)?\s.*?%\}", re.S)
_QUOTED = re.compile(r"\"((?:[^\"\\\n]|\\.)*)\"|'((?:[^'\\\n]|\\.)*)'")
_SPOKEN_ATTRIBUTE = re.compile(
    r'(?:title|alt|placeholder|aria-label|content|data-[\w-]+)="([^"]*)"'
)
_JS_COMMENT = re.compile(r"(?m)^\s*(?://.*|/?\*.*)$")
_JS_STRING = re.compile(r"\"((?:[^\"\\\n]|\\.)*)\"|'((?:[^'\\\n]|\\.)*)'|`((?:[^`\\]|\\.)*)`", re.S)
_CODE_IN_TEXT = re.compile(r"\$\{[^{}]*\}|\{\{.*?\}\}|%\(\w+\)s")
_MARKUP = re.compile(r"<[^<>]+>")


@dataclass(frozen=True)
class VisibleText:
    path: str
    line: int
    text: str

    @property
    def where(self) -> str:
        return f"{self.path}:{self.line}"


def visible_texts() -> Iterator[VisibleText]:
    """All of them, in the order of the files."""
    for path in sorted(file for package in PACKAGES for file in (PROJECT / package).rglob("*")):
        if not path.is_file() or any(part in _NOT_VISIBLE for part in path.parts):
            continue
        read = _READERS.get(path.suffix)
        if read is None or (path.suffix == ".txt" and "templates" not in path.parts):
            continue
        name = str(path.relative_to(PROJECT))
        if "vendor" in name or name.endswith(".min.js"):
            continue
        source = path.read_text("utf-8")
        for start, text in read(source):
            plain = " ".join(_MARKUP.sub(" ", _CODE_IN_TEXT.sub(" … ", text)).split())
            if re.search(r"[^\W\d_]{2}", plain):
                yield VisibleText(name, start, plain)


def _of_template(source: str) -> Iterator[tuple[int, str]]:
    for match in _SPOKEN_TAG.finditer(source):
        for quoted in _QUOTED.finditer(match[0]):
            text = quoted[1] or quoted[2] or ""
            if " " in text or text[:1].isupper():
                yield _line(source, match.start()), text
    plain = _TEMPLATE_CODE.sub(lambda match: re.sub(r"[^\n]", " ", match[0]), source)
    for match in _SPOKEN_ATTRIBUTE.finditer(plain):
        yield _line(source, match.start()), match[1]
    for block in re.finditer(
        r"[^<>]+(?=<|\Z)", re.sub(r"</?(?:b|i|em|strong|a|code|small|span)\b[^<>]*>", "", plain)
    ):
        if block[0].strip():
            yield _line(source, min(block.start(), len(source))), block[0]


def _of_python(source: str) -> Iterator[tuple[int, str]]:
    tree = ast.parse(source)
    docstrings = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef)
        and node.body
        and isinstance(node.body[0], ast.Expr)
    }
    parts = {
        id(part)
        for node in ast.walk(tree)
        if isinstance(node, ast.JoinedStr)
        for part in ast.walk(node)
        if isinstance(part, ast.Constant)
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            yield (
                node.lineno,
                "".join(
                    str(part.value) if isinstance(part, ast.Constant) else " … "
                    for part in node.values
                ),
            )
        elif (
            isinstance(node, ast.Constant)
            and isinstance(node.value, str)
            and id(node) not in docstrings | parts
            and _is_sentence(node.value)
        ):
            yield node.lineno, node.value


def _of_script(source: str) -> Iterator[tuple[int, str]]:
    code = _JS_COMMENT.sub("", source)
    for match in _JS_STRING.finditer(code):
        text = match[1] or match[2] or match[3] or ""
        if _is_sentence(text):
            yield _line(code, match.start()), text


def _of_guide(source: str) -> Iterator[tuple[int, str]]:
    for number, line in enumerate(source.splitlines(), 1):
        yield number, re.sub(r"`[^`]*`|\]\([^)]*\)", " ", line).replace("*", "")


def _is_sentence(text: str) -> bool:
    """Whether a string is words for a reader: more than one, or one with a capital."""
    return bool(re.match(r"[\W\d]*[A-Z][a-z]", text)) or bool(re.search(r"[a-z]+ [a-z]+", text))


def _line(source: str, position: int) -> int:
    return source.count("\n", 0, position) + 1


_READERS = {
    ".html": _of_template,
    ".txt": _of_template,
    ".py": _of_python,
    ".js": _of_script,
    ".md": _of_guide,
}
