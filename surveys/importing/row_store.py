"""Rows put aside in a file without a name, to be fetched one by one in another order."""

import json
import tempfile
from array import array

from surveys.importing.table import Row

_KEPT_IN_MEMORY = 4 * 1024**2


class RowStore:
    """Usable as a context; what it holds is gone at its end."""

    def __init__(self) -> None:
        # Its own context is what closes it.
        self._file = tempfile.SpooledTemporaryFile(max_size=_KEPT_IN_MEMORY)  # noqa: SIM115
        self._begins = array("Q")
        self._end = 0

    def __enter__(self) -> "RowStore":
        return self

    def __exit__(self, *error: object) -> None:
        self._file.close()

    def add(self, row: Row) -> int:
        """The number under which it is fetched. All are added before the first is fetched."""
        packed = json.dumps([row.number, row.part, row.texts, row.written], ensure_ascii=False)
        line = packed.encode() + b"\n"
        self._file.write(line)
        self._begins.append(self._end)
        self._end += len(line)
        return len(self._begins) - 1

    def __getitem__(self, number: int) -> Row:
        self._file.seek(self._begins[number])
        at, part, texts, written = json.loads(self._file.readline())
        return Row(number=at, part=part, texts=tuple(texts), written=tuple(written))
