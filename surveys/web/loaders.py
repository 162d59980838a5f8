"""Loaders that leave out the layout of the templates.

Templates are laid out for who reads them. Who reads the page gets one space for a line break, and
none for the last one: an icon before a word, or a chip before a comma, would otherwise be followed
by a space. While debugging the lines stay, because error pages count them.
"""

import re

from django.template import Origin
from django.template.loaders import app_directories, filesystem

_KEPT_AS_WRITTEN = re.compile(
    r"(<(?:pre|script|textarea)\b.*?</(?:pre|script|textarea)>)", re.DOTALL
)
# Inside these a break after the first tag, or before the last, shows nowhere.
_BLOCKS = "p|h[1-6]|li|dt|dd|td|th|caption|figcaption|summary|legend|option|button|title"
_BREAK_AT_START = re.compile(rf"(<(?:{_BLOCKS})\b[^<>]*>)\s*\n\s*")
_BREAK_AT_END = re.compile(rf"\s*\n\s*(?=</(?:{_BLOCKS})>)")
# A sentence goes on in another tag: `{% endif %}, and` has no space before the comma.
_BREAK_BEFORE_PUNCTUATION = re.compile(
    r"\s*\n\s*(?=(?:\{% (?:if|elif|else|endif|with|endwith|blocktranslate)\b[^%]*%\}\s*)*"
    r"(?:\{% translate \")?[,.;:)](?:\s|\{))"
)
_LINE_BREAK = re.compile(r"\s*\n\s*")
_BREAK_BEFORE_TAG_END = re.compile(r"\s*\n\s*(?=/?>)")


class FilesystemLoader(filesystem.Loader):
    """The templates of the features."""

    def get_contents(self, origin: Origin) -> str:
        text = super().get_contents(origin)
        return without_layout(text, keep_lines=self.engine.debug) if is_html(origin) else text


class AppLoader(app_directories.Loader):
    """The templates of the apps."""

    def get_contents(self, origin: Origin) -> str:
        text = super().get_contents(origin)
        return without_layout(text, keep_lines=self.engine.debug) if is_html(origin) else text


def is_html(origin: Origin) -> bool:
    return origin.name.endswith(".html")


def without_layout(text: str, *, keep_lines: bool = False) -> str:
    """
    >>> without_layout("<p\\n  class='x'\\n>\\n  Two\\n  words\\n</p>\\n")
    "<p class='x'>Two words</p>"
    >>> without_layout("One\\n{% if x %}, two{% endif %}")
    'One{% if x %}, two{% endif %}'
    """
    text = text.removesuffix("\n")
    if keep_lines:
        return text
    parts = _KEPT_AS_WRITTEN.split(text)
    parts[::2] = [_on_one_line(part) for part in parts[::2]]
    return "".join(parts)


def _on_one_line(html: str) -> str:
    html = _BREAK_BEFORE_TAG_END.sub("", html)
    html = _BREAK_BEFORE_PUNCTUATION.sub("", html)
    html = _BREAK_AT_START.sub(r"\1", html)
    return _LINE_BREAK.sub(" ", _BREAK_AT_END.sub("", html))
