"""The files that maps are drawn from: the one that ships, and the one that an operator may add.

Both are PMTiles, version 3, with vector tiles. Browsers ask for parts of them; the server itself
reads the head here, and tiles in `around`.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from html import unescape
from pathlib import Path

from django.conf import settings
from django.utils.html import strip_tags
from pmtiles.reader import MmapSource, Reader
from pmtiles.tile import Compression, MagicNumberNotFound, SpecVersionUnsupported, TileType

LAND = "land"
OWN = "own"
_LAND_FILE = Path(__file__).parent / "land.pmtiles"
_COMPRESSIONS = (Compression.GZIP, Compression.NONE)


class BadMapFile(ValueError):  # noqa: N818 - a noun, as the rest of the exceptions here
    """The operator's file cannot be drawn. The text says why, and what to do."""


@dataclass(frozen=True, kw_only=True)
class MapFile:
    """`version` changes with the file; `attribution` is plain text, as the file has it."""

    name: str
    path: Path
    size: int
    version: str
    last_level: int
    attribution: str
    layers: tuple[str, ...]


def land_file() -> MapFile:
    return _read(LAND, _LAND_FILE)


def own_file() -> MapFile | None:
    """The file of the setting MAP_FILE; None without one, or while it cannot be read."""
    if settings.MAP_FILE is None:
        return None
    try:
        return _read(OWN, Path(settings.MAP_FILE))
    except BadMapFile:
        return None


def map_file(name: str) -> MapFile | None:
    return land_file() if name == LAND else own_file()


def check_map_file(path: Path) -> None:
    """Raises BadMapFile."""
    _read(OWN, path)


@contextmanager
def opened_archive(path: Path) -> Iterator[Reader]:
    with path.open("rb") as file:
        yield Reader(MmapSource(file))


def _read(name: str, path: Path) -> MapFile:
    try:
        stat = path.stat()
    except OSError as error:
        raise BadMapFile(f'"{path}" cannot be read: {error.strerror}.') from error
    return _read_state(name, path, stat.st_size, f"{stat.st_size:x}-{stat.st_mtime_ns:x}")


@lru_cache(maxsize=4)
def _read_state(name: str, path: Path, size: int, version: str) -> MapFile:
    try:
        with opened_archive(path) as archive:
            head, metadata = archive.header(), archive.metadata()
        if head["tile_data_offset"] + head["tile_data_length"] > size:
            raise EOFError
    except OSError as error:
        raise BadMapFile(f'"{path}" cannot be read: {error.strerror}.') from error
    except (MagicNumberNotFound, SpecVersionUnsupported, ValueError, EOFError) as error:
        raise BadMapFile(f'"{path}" is not a whole PMTiles file of version 3.') from error
    if head["tile_type"] is not TileType.MVT or head["tile_compression"] not in _COMPRESSIONS:
        raise BadMapFile(
            f'"{path}" has no vector tiles (with gzip or as they are), which maps are drawn from. '
            "For pictures set DUSKPOOL_MAP_TILES_URL."
        )
    return MapFile(
        name=name,
        path=path,
        size=size,
        version=version,
        last_level=head["max_zoom"],
        attribution=unescape(strip_tags(str(metadata.get("attribution") or ""))).strip(),
        layers=tuple(layer["id"] for layer in metadata.get("vector_layers", [])),
    )
