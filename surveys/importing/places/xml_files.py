"""GPX, KML and other XML within limits. Runs in `surveys.bounded`."""

from collections.abc import Iterator
from xml.etree import ElementTree

from surveys.bounded import RefusedError
from surveys.language import gettext_noop as _

MOST_ELEMENTS = 1_000_000
DEEPEST = 100


class _Builder(ElementTree.TreeBuilder):
    """No document types, so no entities; not too deep, not too many elements."""

    def __init__(self) -> None:
        super().__init__()
        self._depth = 0
        self._elements = 0

    def doctype(self, name: str, public: str | None, system: str | None) -> None:
        raise RefusedError(
            _(
                "The file declares a document type, which GPX and KML do not have. Export it "
                "again from the program that made it."
            )
        )

    def start(self, tag: str, attributes: dict[str, str]) -> ElementTree.Element:
        self._depth += 1
        self._elements += 1
        if self._depth > DEEPEST or self._elements > MOST_ELEMENTS:
            raise RefusedError(
                _("The file has more parts than any route needs. Export only the routes.")
            )
        return super().start(tag, attributes)

    def end(self, tag: str) -> ElementTree.Element:
        self._depth -= 1
        return super().end(tag)


def read_xml(content: bytes) -> ElementTree.Element:
    """The root. Raises RefusedError."""
    # Without document types there are no entities, and this process has its limits.
    parser = ElementTree.XMLParser(target=_Builder())  # noqa: S314
    try:
        parser.feed(content)
        return parser.close()
    except ElementTree.ParseError as error:
        line, column = error.position
        raise RefusedError(
            _(
                "The file is cut off or damaged at line {line}, character {column}. Export it "
                "again from the program that made it."
            ),
            line=line,
            column=column + 1,
        ) from None
    except (LookupError, ValueError):
        raise RefusedError(
            _("The encoding of the file is not known. Export it again in UTF-8.")
        ) from None


def name_of(element: ElementTree.Element) -> str:
    """The tag without its namespace."""
    return str(element.tag).rpartition("}")[2]


def children(element: ElementTree.Element, *names: str) -> Iterator[ElementTree.Element]:
    return (child for child in element if name_of(child) in names)


def text_of(element: ElementTree.Element, name: str) -> str:
    """The text of the first child of that name."""
    child = next(children(element, name), None)
    return "".join(child.itertext()).strip() if child is not None else ""
