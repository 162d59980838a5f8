"""Bytes of a daily weather file of one station in, its days out. Runs in `surveys.bounded`.

Three layouts are known by their content: the two of the public GHCN-Daily data set (fixed width,
`.dly`, and the CSV by station: ID, date, element, value, three flags, time), whose readme says
columns, units and flags; and a plain CSV with a row a day, whose units the sender tells.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import re
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass, field

from surveys.bounded import RefusedError
from surveys.language import gettext_noop as _

RAIN, HIGH, LOW = "rain", "high", "low"
_ELEMENTS = {"PRCP": RAIN, "TMAX": HIGH, "TMIN": LOW}
_MISSING = "-9999"
# GHCN-Daily: tenths of a millimeter, tenths of a degree Celsius.
_TENTHS = {RAIN: "tenth_mm", HIGH: "tenth_c", LOW: "tenth_c"}
# What a plain CSV may be in; values are stored in mm and °C.
TO_METRIC: dict[str, Callable[[float], float]] = {
    "mm": float,
    "tenth_mm": lambda value: value / 10,
    "in": lambda value: value * 25.4,
    "C": float,
    "tenth_c": lambda value: value / 10,
    "F": lambda value: (value - 32) / 1.8,
}
# Wider than what was ever measured on a day: 1825 mm, and 56.7 and −89.2 °C (WMO records, from
# memory). A value beyond is a wrong unit or a slip.
_POSSIBLE = {RAIN: (0.0, 2000.0), HIGH: (-95.0, 62.0), LOW: (-95.0, 62.0)}
_HEADS = {
    "date": "date", "day": "date", "prcp": RAIN, "precipitation": RAIN, "rain": RAIN,
    "tmax": HIGH, "high": HIGH, "tmin": LOW, "low": LOW,
}  # fmt: skip
_STATION = re.compile(r"[A-Z0-9_-]{11}")
_DLY = re.compile(r"[A-Z0-9_-]{11}\d{6}[A-Z0-9]{4}")
_DATE = re.compile(r"(\d{4})-?(\d\d)-?(\d\d)")


@dataclass
class Days:
    """What a file says: values by day and what they are, in mm and °C, and how many were left out
    because they failed a check of quality at the source."""

    code: str = ""
    values: dict[str, dict[str, float]] = field(default_factory=dict)
    failed: int = 0

    def note(self, day: dt.date, what: str, value: float, where: dict[str, object]) -> None:
        low, high = _POSSIBLE[what]
        if not low <= value <= high:
            text = _IMPOSSIBLE_RAIN if what == RAIN else _IMPOSSIBLE_TEMPERATURE
            raise RefusedError(text, **_both(what, value), **where)
        self.values.setdefault(day.isoformat(), {})[what] = round(value, 2)


_IMPOSSIBLE_RAIN = _(
    "Line {line}: {value} mm ({inches} in) of rain on one day is not possible. Check the unit, and "
    "the number."
)
_IMPOSSIBLE_TEMPERATURE = _(
    "Line {line}: {value} °C ({fahrenheit} °F) is not possible. Check the unit, and the number."
)


def _both(what: str, value: float) -> dict[str, object]:
    """A value in both units, as it is not known here in which the reader thinks."""
    if what == RAIN:
        return {"value": f"{value:.1f}", "inches": f"{value / 25.4:.2f}"}
    return {"value": f"{value:.1f}", "fahrenheit": f"{value * 1.8 + 32:.1f}"}


def parse(content: bytes) -> bytes:
    """The days of a file as JSON. The first line of ``content`` names the units of a plain CSV, as
    ``mm,C``. Raises RefusedError."""
    head, _, body = content.partition(b"\n")
    rain, temperature = head.decode("ascii").split(",")
    try:
        text = body.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = body.decode("latin-1")
    lines = text.splitlines()
    first = next((line for line in lines if line.strip()), "")
    if _DLY.match(first):
        days = _read_dly(lines)
    elif _is_by_station(first):
        days = _read_by_station(lines)
    else:
        days = _read_plain(text, {RAIN: rain, HIGH: temperature, LOW: temperature})
    if not days.values:
        raise RefusedError(_NOTHING)
    return json.dumps(asdict(days)).encode()


_NOTHING = _(
    "The file holds no day with rain, a high or a low. It needs the elements PRCP, TMAX or TMIN, "
    "or a CSV with the columns date, rain, high and low."
)


def _read_dly(lines: list[str]) -> Days:
    days = Days()
    for number, line in enumerate(lines, start=1):
        if not line.strip():
            continue
        if not _DLY.match(line):
            raise RefusedError(
                _("Line {line} is not one of a .dly file: station, year, month, element, values."),
                line=number,
            )
        _check_station(days, line[:11], number)
        what = _ELEMENTS.get(line[17:21])
        if what is None:
            continue
        for day in range(31):
            cell = line[21 + 8 * day : 29 + 8 * day]
            value, flag = cell[:5].strip(), cell[6:7].strip()
            if value in ("", _MISSING):
                continue
            when = _day(int(line[11:15]), int(line[15:17]), day + 1, number)
            _note_tenths(days, when, what, value, flag, number)
    return days


def _is_by_station(line: str) -> bool:
    cells = line.split(",")
    return (
        len(cells) >= 6 and bool(_STATION.fullmatch(cells[0])) and bool(_DATE.fullmatch(cells[1]))
    )


def _read_by_station(lines: list[str]) -> Days:
    days = Days()
    for number, cells in enumerate(csv.reader(lines), start=1):
        if not cells:
            continue
        if len(cells) < 6:
            raise RefusedError(
                _("Line {line} has fewer than 6 cells: station, date, element, value, two flags."),
                line=number,
            )
        _check_station(days, cells[0], number)
        what = _ELEMENTS.get(cells[2])
        if what is None or cells[3] in ("", _MISSING):
            continue
        when = _read_day(cells[1], number)
        _note_tenths(days, when, what, cells[3], cells[5].strip(), number)
    return days


def _note_tenths(
    days: Days, when: dt.date, what: str, value: str, failed: str, number: int
) -> None:
    """A value of GHCN-Daily; one that failed a check of quality at the source is left out."""
    if failed:
        days.failed += 1
        return
    amount = TO_METRIC[_TENTHS[what]](_number(value, number))
    days.note(when, what, amount, {"line": number})


def _check_station(days: Days, code: str, number: int) -> None:
    if days.code and code != days.code:
        raise RefusedError(
            _(
                "Line {line} is of the station {other}, and the lines before are of {code}. Send a "
                "file for each station."
            ),
            line=number,
            other=code,
            code=days.code,
        )
    days.code = code


def _read_plain(text: str, units: dict[str, str]) -> Days:
    rows = csv.reader(io.StringIO(text), delimiter=_delimiter(text))
    heads = [head.strip().lower() for head in next(rows, [])]
    places = {_HEADS[head]: place for place, head in enumerate(heads) if head in _HEADS}
    if "date" not in places or len(places) < 2:
        raise RefusedError(_NOTHING)
    flags = {
        _HEADS[head.removesuffix("_attributes")]: place
        for place, head in enumerate(heads)
        if head.removesuffix("_attributes") in _HEADS and head.endswith("_attributes")
    }
    days = Days()
    for number, cells in enumerate(rows, start=2):
        if not any(cell.strip() for cell in cells):
            continue
        cells += [""] * (len(heads) - len(cells))
        when = _read_day(cells[places["date"]].strip(), number)
        for what, value in _known_cells(cells, places):
            if what in flags and _failed(cells[flags[what]]):
                days.failed += 1
                continue
            amount = TO_METRIC[units[what]](_number(value, number))
            days.note(when, what, amount, {"line": number})
    return days


def _known_cells(cells: list[str], places: dict[str, int]) -> Iterator[tuple[str, str]]:
    for what, place in places.items():
        value = cells[place].strip()
        if what != "date" and value not in ("", _MISSING):
            yield what, value


def _failed(attributes: str) -> bool:
    """The second of the flags that stand beside a value, "measurement,quality,source"."""
    flags = attributes.split(",")
    return len(flags) > 1 and bool(flags[1].strip())


def _delimiter(text: str) -> str:
    head = text.partition("\n")[0]
    return max(",;\t", key=head.count)


def _read_day(text: str, number: int) -> dt.date:
    match = _DATE.fullmatch(text)
    if match is None:
        raise RefusedError(
            _("Line {line}: “{text}” is not a date. Write it as 2024-04-15."),
            line=number,
            text=text[:40],
        )
    return _day(*map(int, match.groups()), number)


def _day(year: int, month: int, day: int, number: int) -> dt.date:
    try:
        return dt.date(year, month, day)
    except ValueError:
        raise RefusedError(
            _("Line {line}: there is no day {day} of month {month} in {year}."),
            line=number,
            day=day,
            month=month,
            year=year,
        ) from None


def _number(text: str, number: int) -> float:
    typed = text.replace(",", ".") if text.count(",") == 1 and "." not in text else text
    if not re.fullmatch(r"[+-]?\d{1,6}(\.\d{1,6})?", typed):
        raise RefusedError(
            _("Line {line}: “{text}” is not a number. Leave a value that is missing blank."),
            line=number,
            text=text[:40],
        )
    return float(typed)
