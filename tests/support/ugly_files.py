"""A made-up archive in eight files, each ugly in another way, with what a coordinator has to say.

What is heard is in the file in one way or another; where people write something wrong on purpose,
the answer says what they meant.
"""

import datetime as dt
import io
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from openpyxl import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from tests.support.ugly_archive import COMMON, NOT_LISTENED_FOR, Archive, Night

LEAVE_OUT = object()


@dataclass(frozen=True, kw_only=True)
class UglyFile:
    """`columns` are headers with another meaning than is guessed, `answers` what a cell is read as
    or that its rows are left out, `people` who a name in the file is, `rows` how many it has."""

    name: str
    content: bytes
    rows: int
    columns: Mapping[str, str] = field(default_factory=dict)
    answers: Mapping[str, object] = field(default_factory=dict)
    people: Mapping[str, str] = field(default_factory=dict)


def route_answers(archive: Archive, written: str) -> dict[str, str]:
    """`R02` for `Route 2`, as the program names it; `written` has a place for the number."""
    return {written.format(number): f"R{number:02}" for number in range(1, archive.routes + 1)}


def ugly_files(archive: Archive) -> Iterator[UglyFile]:
    makers = (
        _merged, _species_by_tabs, _without_mark, _semicolons,
        _whole_visits, _filled_down, _month_first, _once_more,
    )  # fmt: skip
    for number, make in enumerate(makers, start=1):
        yield make(archive, archive.by_file[number])


def _merged(archive: Archive, nights: Sequence[Night]) -> UglyFile:
    """Notes in front, column names in two rows, merged cells, a total behind each route."""
    book = Workbook()
    book.active.title = "Read me"
    for line in ("Typed from the green binders.", "Blank: nobody noted it.", "Ask at the office."):
        book.active.append([line])
    sheet = book.create_sheet("Visits")
    sheet.append(["Frog log of the lake country"])
    sheet.append(["Route", "Date", "Observer", "Stop", "Weather", None, "Species"])
    sheet.append([None, None, None, None, "Temp (F)", "Wind (Beaufort)", *archive.common_names])
    for cells in ("A2:A3", "B2:B3", "C2:C3", "D2:D3", "E2:F2"):
        sheet.merge_cells(cells)
    shapes = (lambda date: date, "{:%d-%b-%y}".format, "{:%a %d %B %Y}".format, "{:%Y%m%d}".format)
    for number, night in enumerate(nights):
        first = sheet.max_row + 1
        for stop, calls in night.heard.items():
            head = [None] * 3
            if sheet.max_row + 1 == first:
                when = shapes[number % len(shapes)](night.date)
                head = [f"Route {night.route}", when, night.observer]
            weather = [None, None] if head[0] is None else [night.fahrenheit, night.beaufort]
            sheet.append([*head, stop, *weather, *calls.values()])
        _merge(sheet, "ABCEF", first, sheet.max_row)
        if number + 1 == len(nights) or nights[number + 1].route != night.route:
            sheet.append(["Total", None, None, None, None, None, *(99 for _ in archive.names)])
    return UglyFile(
        name="2004 and on, typed.xlsx",
        content=_saved(book),
        rows=sheet.max_row,
        answers=route_answers(archive, "Route {}"),
    )


def _species_by_tabs(archive: Archive, nights: Sequence[Night]) -> UglyFile:
    """UTF-16 with its mark; a row a species, under names of their own, two of them misspelled."""
    misspelled = {"Spring peeper": "Spring peper", "Wood frog": "Wod frogg"}
    lines = [["Where", "When", "Who", "Point", "Start", "End", "Heard", "How much"]]
    for night in nights:
        head = [night.code, f"{night.date:%B} {night.date.day}, {night.date.year}"]
        for stop, calls in night.heard.items():
            begun = _minutes_after_nine(stop)
            clocks = [_clock12(begun), _clock12(begun + night.minutes)]
            heard = [(COMMON[name], str(index)) for name, index in calls.items() if index]
            lines += [
                [*head, night.observer, str(stop), *clocks, misspelled.get(name, name), index]
                for name, index in heard or [("none", "")]
            ]
    return UglyFile(
        name="from the old database.txt",
        content=_text(lines, "\t").encode("utf-16"),
        rows=len(lines) - 1,
        columns={
            "Where": "Route, code or name",
            "When": "Date of the evening: year first, 2024-04-15, or a date cell",
            "Who": "Observer, email or name",
            "Heard": "Species",
            "How much": "Call index, 0–3",
        },
        answers={wrong: right for right, wrong in misspelled.items()},
    )


def _without_mark(archive: Archive, nights: Sequence[Night]) -> UglyFile:
    """UTF-16 without a mark; nobody wrote a zero; the first row stands there twice."""
    lines = [["Rte", "Night", "Observer", "Stop", "Temp F", "Bft", *archive.common_names]]
    for night in nights:
        head = [f"R-{night.route}", night.date.isoformat(), night.observer]
        weather = [str(night.fahrenheit), str(night.beaufort)]
        lines += [
            [*head, str(stop), *weather, *(str(index or "") for index in calls.values())]
            for stop, calls in night.heard.items()
        ]
    lines.insert(2, lines[1])
    return UglyFile(
        name="export 3.csv",
        content=_text(lines, ",").encode("utf-16-be"),
        rows=len(lines) - 1,
        columns={
            "Rte": "Route, code or name",
            "Bft": "Wind at the stop: Beaufort force",
        },
        answers={
            **route_answers(archive, "R-{}"),
            "is in row 2 already": LEAVE_OUT,
        },
    )


def _semicolons(archive: Archive, nights: Sequence[Night]) -> UglyFile:
    """Windows-1252, commas in numbers, the day first; a 4 for a 3, and a temperature in words."""
    lines = [["Route", "Date", "Observer", "Stop", "Temp (C)", "Wind (mph)", *archive.common_names]]
    speeds = (0, 2, 5, 10, 15, 21)
    three = next(
        (night, stop, name)
        for night in nights
        for stop, calls in night.heard.items()
        for name, index in calls.items()
        if index == 3
    )
    for night in nights:
        celsius = f"{(night.fahrenheit - 32) / 1.8:.1f}".replace(".", ",")
        head = [night.code, f"{night.date:%d.%m.%Y}", night.observer]
        for stop, calls in night.heard.items():
            indices = [
                "4" if (night, stop, name) == three else _written(index)
                for name, index in calls.items()
            ]
            first = night is nights[0] and stop == 1
            weather = ["mild" if first else celsius, str(speeds[night.beaufort])]
            lines.append([*head, str(stop), *weather, *indices])
    return UglyFile(
        name="binder four.csv",
        content=_text(lines, ";").encode("cp1252"),
        rows=len(lines) - 1,
        answers={"4": "3", "mild": "-"},
    )


def _whole_visits(archive: Archive, nights: Sequence[Night]) -> UglyFile:
    """A row a visit with a column for each stop and species; zeros are left blank."""
    stops = range(1, archive.stops + 1)
    book = Workbook()
    sheet = book.active
    sheet.append(
        ["Route", "Date", "Observer", "Temp (F)", "Wind (Beaufort)"]
        + [f"Stop {stop} {common}" for stop in stops for common in archive.common_names]
    )
    for night in nights:
        calls = [index or None for stop in stops for index in night.heard[stop].values()]
        weather = [night.fahrenheit, night.beaufort]
        sheet.append([night.code, night.date, night.observer, *weather, *calls])
    return UglyFile(name="one line a night.xlsx", content=_saved(book), rows=sheet.max_row - 1)


def _filled_down(archive: Archive, nights: Sequence[Night]) -> UglyFile:
    """A row a species under names of another time; route, date and stop only where they change;
    a total behind each visit. One species was not listened for."""
    former = {
        "Pseudacris crucifer": "Hyla crucifer",
        "Lithobates sylvaticus": "Rana sylvatica",
        "Anaxyrus americanus": "Bufo americanus",
        "Lithobates pipiens": "Rana pipiens",
    }
    book = Workbook()
    sheet = book.active
    sheet.append(["Route", "Date", "Observer", "Stop", "Species", "Call index"])
    for night in nights:
        head = [night.code, night.date, night.observer]
        for stop, calls in night.heard.items():
            heard = [(former.get(name, name), index) for name, index in calls.items() if index]
            for number, (name, index) in enumerate(heard or [("none", None)]):
                sheet.append([*head, None if number else stop, name, index])
                head = [None] * 3
        sheet.append(["Total", None, None, None, None, 99])
    assert NOT_LISTENED_FOR not in former
    return UglyFile(name="species list.xlsx", content=_saved(book), rows=sheet.max_row - 1)


def _month_first(archive: Archive, nights: Sequence[Night]) -> UglyFile:
    """Dates that can be read in two ways."""
    return _american(archive, nights, "last years.csv")


def _once_more(archive: Archive, nights: Sequence[Night]) -> UglyFile:
    """The same columns; begins with a year that the file before has, too, and shortens a name."""
    return _american(
        archive, [*archive.twice(), *nights], "last years, second part.csv",
        people={"R. Alder": "Rowan Alder"},
    )  # fmt: skip


def _american(
    archive: Archive, nights: Sequence[Night], name: str, people: Mapping[str, str] | None = None
) -> UglyFile:
    lines = [["Route name", "Date", "Observer", "Stop", "Temp (F)", "Wind", *archive.common_names]]
    short = {full: short for short, full in (people or {}).items()}
    for night in nights:
        date = night.date
        when = f"{date.month}/{date.day}/{date:%y}"
        head = [f"Route No. {night.route}", when, short.get(night.observer, night.observer)]
        weather = [str(night.fahrenheit), str(night.beaufort)]
        lines += [
            [*head, str(stop), *weather, *map(_written, calls.values())]
            for stop, calls in night.heard.items()
        ]
    return UglyFile(
        name=name,
        content=_text(lines, ",").encode(),
        rows=len(lines) - 1,
        columns={"Date": "Date of the evening: month first, 4/15/2024"},
        answers=route_answers(archive, "Route No. {}"),
        people=people or {},
    )


def _minutes_after_nine(stop: int) -> int:
    return 5 + 12 * (stop - 1)


def _clock12(minutes: int) -> str:
    """`9:05`, `12:10`: in the evening without saying so."""
    moment = dt.datetime(2000, 1, 1, 21) + dt.timedelta(minutes=minutes)
    return f"{(moment.hour - 1) % 12 + 1}:{moment:%M}"


def _written(index: int | None) -> str:
    return "" if index is None else str(index)


def _text(lines: Sequence[Sequence[str]], delimiter: str) -> str:
    return "".join(f"{delimiter.join(line)}\r\n" for line in lines)


def _merge(sheet: Worksheet, columns: str, first: int, last: int) -> None:
    if last > first:
        for column in columns:
            sheet.merge_cells(f"{column}{first}:{column}{last}")


def _saved(book: Workbook) -> bytes:
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()
