"""The forms of a page, as a browser would send them."""

from collections import defaultdict
from dataclasses import dataclass, field
from html.parser import HTMLParser

Attributes = dict[str, str | None]


@dataclass(kw_only=True)
class FoundForm:
    action: str = ""
    method: str = ""
    multipart: bool = False
    # Name and value of each field, in order; a file has None.
    fields: list[tuple[str, str | None]] = field(default_factory=list)


class _Forms(HTMLParser):
    """A field belongs to the form around it, or to the one whose id it names."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.page = page
        self.forms: dict[str, FoundForm] = defaultdict(FoundForm)
        self.around = ""
        self.select: tuple[str, str, list[str]] | None = None
        self.textarea: tuple[str, str, str] | None = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        if tag == "form":
            self.around = given.get("id") or f"form {len(self.forms)}"
            form = self.forms[self.around]
            form.action = given.get("action") or given.get("hx-post") or self.page
            form.method = (given.get("method") or "get").upper()
            form.multipart = "multipart" in (given.get("enctype") or "")
            return
        form, name = given.get("form") or self.around, given.get("name") or ""
        if tag == "option" and self.select:
            if "selected" in given or not self.select[2]:
                self.select[2].append(given.get("value") or "")
        elif not form or not name:
            return
        elif tag == "select":
            self.select = (form, name, [])
        elif tag == "textarea":
            self.textarea = (form, name, "")
        elif tag in ("input", "button"):
            self._input(form, name, given)

    def _input(self, form: str, name: str, given: Attributes) -> None:
        kind = given.get("type")
        if kind not in ("checkbox", "radio") or "checked" in given:
            value = None if kind == "file" else given.get("value") or ""
            self.forms[form].fields.append((name, value))

    def handle_data(self, data: str) -> None:
        if self.textarea:
            form, name, text = self.textarea
            self.textarea = (form, name, text + data)

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self.around = ""
        elif tag == "select" and self.select:
            form, name, chosen = self.select
            self.forms[form].fields += [(name, value) for value in chosen[-1:]]
            self.select = None
        elif tag == "textarea" and self.textarea:
            form, name, text = self.textarea
            self.forms[form].fields.append((name, text))
            self.textarea = None


def forms_of(html: str, page: str) -> list[FoundForm]:
    parser = _Forms(page)
    parser.feed(html)
    return [form for form in parser.forms.values() if form.method]
