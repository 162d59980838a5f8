"""A daily weather file of a station: read in another process, then kept."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import dataclass

from surveys import bounded
from surveys.importing.problems import UnreadableFileError
from surveys.importing.reading import MOST_BYTES
from surveys.language import gettext, said
from surveys.protocol.station_days import StationDay

LIMITS = bounded.Limits(seconds=30, cpu_seconds=15, memory_bytes=512 * 1024**2)


@dataclass(frozen=True, kw_only=True)
class StationFile:
    """`code` is blank where the file has none. `failed` values failed a check at the source and
    are left out."""

    code: str
    days: dict[dt.date, StationDay]
    failed: int


def read_station_file(content: bytes, *, rain_unit: str, temperature_unit: str) -> StationFile:
    """The days of a file; the units are those of a plain CSV. Raises UnreadableFileError with a
    sentence that says what to do."""
    if not content or content.isspace():
        raise UnreadableFileError(gettext("The file is empty."))
    if len(content) > MOST_BYTES:
        raise UnreadableFileError(
            said(
                "The file is larger than {most} MB. Keep the years of the surveys only.",
                most=MOST_BYTES // 1024**2,
            )
        )
    head = f"{rain_unit},{temperature_unit}\n".encode()
    try:
        parsed = bounded.run(
            "surveys.importing.station_files", "parse", content, LIMITS, before=head
        )
    except bounded.RefusedError as refusal:
        raise UnreadableFileError(str(refusal)) from None
    except (bounded.OverLimitError, bounded.BrokenError):
        raise UnreadableFileError(
            gettext(
                "The file cannot be read. Send the .dly or the CSV of one station as it came, or a "
                "CSV with the columns date, rain, high and low."
            )
        ) from None
    found = json.loads(parsed)
    return StationFile(
        code=found["code"],
        days={
            dt.date.fromisoformat(day): StationDay(**values)
            for day, values in found["values"].items()
        },
        failed=found["failed"],
    )
