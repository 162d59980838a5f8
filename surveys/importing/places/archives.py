"""What a ZIP file is: a workbook, a KMZ or a shapefile. Runs in `surveys.bounded`."""

import io
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import PurePosixPath

from surveys.bounded import RefusedError
from surveys.language import gettext_noop as _

MOST_BYTES_UNPACKED = 100 * 1024 * 1024
MOST_SHAPEFILES = 50
_BROKEN = (
    zipfile.BadZipFile,
    zlib.error,
    EOFError,
    OSError,
    RuntimeError,
    NotImplementedError,
    ValueError,
)
# The parts of a shapefile that are read.
_PARTS = (".shp", ".shx", ".dbf", ".prj", ".cpg")


def unpacked(content: bytes) -> tuple[str, list[bytes]]:
    """The kind and the files to be read: `xlsx` (the archive itself), `kml`, `gpkg`, `gpx`, `csv`
    or `geojson`, or `shp` with a plain archive for each shapefile. Raises RefusedError."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            entries = [entry for entry in archive.infolist() if not _is_hidden(entry)]
            if sum(entry.file_size for entry in archive.infolist()) > MOST_BYTES_UNPACKED:
                raise RefusedError(
                    _("The archive is too large when unpacked. Send the files one by one.")
                )
            return _kind_and_files(archive, entries, content)
    except _BROKEN:
        raise RefusedError(
            _("The archive is cut off, damaged or has a password. Pack the files again.")
        ) from None


def _is_hidden(entry: zipfile.ZipInfo) -> bool:
    parts = PurePosixPath(entry.filename).parts
    return entry.is_dir() or any(part.startswith((".", "__MACOSX")) for part in parts)


def _kind_and_files(
    archive: zipfile.ZipFile, entries: list[zipfile.ZipInfo], content: bytes
) -> tuple[str, list[bytes]]:
    names = {entry.filename for entry in entries}
    if "[Content_Types].xml" in names:
        return "xlsx", [content]
    for kind in ("shp", "gpkg", "kml", "gpx", "geojson", "json", "csv"):
        of_kind = [entry for entry in entries if _suffix(entry.filename) == f".{kind}"]
        if kind == "shp" and of_kind:
            return kind, list(_shapefiles(archive, of_kind, entries))
        if of_kind:
            return kind, [_read(archive, entry) for entry in of_kind[:MOST_SHAPEFILES]]
    raise RefusedError(
        _(
            "The archive holds no file with places. It may hold a shapefile (.shp, .dbf, .shx, "
            ".prj), KML, GPX, GeoJSON or a GeoPackage."
        )
    )


def _suffix(name: str) -> str:
    return PurePosixPath(name).suffix.casefold()


def _shapefiles(
    archive: zipfile.ZipFile, shapes: list[zipfile.ZipInfo], entries: list[zipfile.ZipInfo]
) -> Iterator[bytes]:
    """Each shapefile in an archive of its own with nothing but its parts, so that no path or other
    file in the archive is followed."""
    if len(shapes) > MOST_SHAPEFILES:
        raise RefusedError(
            _("The archive holds more than {most} shapefiles. Send only those of the routes."),
            most=MOST_SHAPEFILES,
        )
    for shape in shapes:
        stem = PurePosixPath(shape.filename).with_suffix("")
        if not any(entry.filename.casefold() == f"{stem}.shx".casefold() for entry in entries):
            raise RefusedError(
                _("“{name}” lacks its index. Pack the .shx, .dbf and .prj files along with it."),
                name=stem.name[:60],
            )
        out = io.BytesIO()
        with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as plain:
            for entry in entries:
                path = PurePosixPath(entry.filename)
                if path.with_suffix("") == stem and _suffix(entry.filename) in _PARTS:
                    name = f"{_plain(stem.name)}{_suffix(entry.filename)}"
                    plain.writestr(name, _read(archive, entry))
        yield out.getvalue()


def _plain(stem: str) -> str:
    return (
        "".join(sign if sign.isalnum() or sign in "-_ " else "_" for sign in stem)[:60] or "layer"
    )


def _read(archive: zipfile.ZipFile, entry: zipfile.ZipInfo) -> bytes:
    """No more than it says that it unpacks to, which is what was counted."""
    with archive.open(entry) as file:
        return file.read(entry.file_size)
