"""Bytes of a file of places in, what it holds out, as JSON. Runs in `surveys.bounded`.

The kind is told from the content, not from the name.
"""

import json
from importlib import import_module

from surveys.bounded import RefusedError
from surveys.importing.parsed import NoRowsError
from surveys.importing.places.archives import unpacked
from surveys.importing.places.found import Found, as_json
from surveys.importing.places.geojson import is_projected, load_geojson, read_geojson
from surveys.importing.places.gpx import read_gpx
from surveys.importing.places.kml import read_kml
from surveys.importing.places.xml_files import name_of, read_xml
from surveys.language import gettext_noop as _

_ZIP = b"PK\x03\x04"
_SQLITE = b"SQLite format 3\x00"
_MARKS = {b"\xef\xbb\xbf": "utf-8-sig", b"\xff\xfe": "utf-16", b"\xfe\xff": "utf-16"}
# These are loaded where they are needed: GDAL takes longer to load than most files to read.
_TABLES = {"csv": "surveys.importing.csv_files", "xlsx": "surveys.importing.workbooks"}
_LAYERS = "surveys.importing.places.layers"


def parse(content: bytes) -> bytes:
    """Raises RefusedError."""
    kind, files = unpacked(content) if content.startswith(_ZIP) else ("", [content])
    if kind in _TABLES or (not kind and _kind(content) == "csv"):
        return _table(files[0], kind or "csv")
    found = Found()
    for file in files:
        _read(file, kind if kind in ("shp", "gpkg") else _kind(file), found)
    return found.json()


def _kind(content: bytes) -> str:
    if content.startswith(_SQLITE):
        return "gpkg"
    begin = _first_characters(content)
    if begin.startswith("<"):
        return "xml"
    return "geojson" if begin.startswith(("{", "[")) else "csv"


def _first_characters(content: bytes) -> str:
    encoding = next((name for mark, name in _MARKS.items() if content.startswith(mark)), "latin-1")
    return content[:2_000].decode(encoding, errors="ignore").lstrip()


def _read(content: bytes, kind: str, found: Found) -> None:
    if kind in ("shp", "gpkg"):
        import_module(_LAYERS).read_layers(content, found)
    elif kind == "xml":
        _read_xml(content, found)
    elif kind == "geojson":
        geojson = load_geojson(content)
        if is_projected(geojson):
            import_module(_LAYERS).read_layers(content, found)
        else:
            read_geojson(geojson, found)
    else:
        raise RefusedError(_("The archive holds a file that is not what its name says."))


def _read_xml(content: bytes, found: Found) -> None:
    root = read_xml(content)
    match name_of(root):
        case "gpx":
            read_gpx(root, found)
        case "kml":
            read_kml(root, found)
        case other:
            raise RefusedError(
                _("The file is XML, but not GPX or KML: its first element is “{name}”."),
                name=other[:60],
            )


def _table(content: bytes, kind: str) -> bytes:
    try:
        table = json.loads(import_module(_TABLES[kind]).parse(content))
    except NoRowsError:
        raise RefusedError(
            _(
                "There is nothing to import: the first row must hold the column names, and each "
                "row below it one stop."
            )
        ) from None
    return as_json(table["headers"], table["rows"], notices=table["notices"])
