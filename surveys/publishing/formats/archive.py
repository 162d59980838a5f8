"""Zip archives whose bytes follow from their content alone."""

import datetime as dt
import io
import shutil
import zipfile
from collections.abc import Iterable
from pathlib import Path

_UNIX = 3
_READABLE = 0o100644 << 16
_BLOCK = 1 << 20


def write_archive(
    target: Path, moment: dt.datetime, parts: Iterable[tuple[str, bytes | Path]]
) -> None:
    """Write each part, a name and its bytes or the file that holds them, in the order given.

    Every part carries `moment` in UTC, so that the same parts give the same archive at any hour
    and on any host. Files are copied in blocks.
    """
    with zipfile.ZipFile(target, "w") as archive:
        for name, content in parts:
            part = zipfile.ZipInfo(name, moment.astimezone(dt.UTC).timetuple()[:6])
            part.compress_type = zipfile.ZIP_DEFLATED
            part.create_system = _UNIX
            part.external_attr = _READABLE
            if isinstance(content, Path):
                part.file_size = content.stat().st_size
                with content.open("rb") as source, archive.open(part, "w") as sink:
                    shutil.copyfileobj(source, sink, _BLOCK)
            else:
                part.file_size = len(content)
                with io.BytesIO(content) as source, archive.open(part, "w") as sink:
                    shutil.copyfileobj(source, sink, _BLOCK)
