"""Spreadsheets made to break their reader: each with words of the sentence that refuses it."""

import io
import re
import zipfile
from collections.abc import Callable

import xlsxwriter

SHEET = "xl/worksheets/sheet1.xml"
STRINGS = "xl/sharedStrings.xml"
LAUGHS = (
    '<!DOCTYPE x [<!ENTITY a "ha">'
    + "".join(
        f'<!ENTITY {name} "{f"&{before};" * 10}">'
        for before, name in zip("abcdefgh", "bcdefghi", strict=True)
    )
    + "]>"
)


def _with_shared_strings() -> bytes:
    """As spreadsheet programs write it; openpyxl writes the strings into the cells."""
    out = io.BytesIO()
    book = xlsxwriter.Workbook(out)
    sheet = book.add_worksheet()
    for number, row in enumerate(
        [["Route", "Stop", "Note"], ["R1", 71, "quiet"], ["R1", 72, "cars"]]
    ):
        sheet.write_row(number, 0, row)
    book.close()
    return out.getvalue()


GOOD = _with_shared_strings()


def changed(part: str, change: Callable[[str], str | bytes]) -> bytes:
    """The good workbook with one of its parts changed."""
    out = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(GOOD)) as good,
        zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as bad,
    ):
        for entry in good.infolist():
            content = good.read(entry)
            bad.writestr(entry.filename, change(content.decode()) if entry.filename == part
                         else content)  # fmt: skip
    return out.getvalue()


def swapped(old: str, new: str, part: str = SHEET) -> bytes:
    def change(text: str) -> str:
        assert old in text, (part, text)
        return text.replace(old, new, 1)

    return changed(part, change)


def packed(name: str, megabytes: int) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(name, bytes(megabytes * 1024 * 1024))
    return out.getvalue()


def many_strings(text: str) -> str:
    strings = "<si><t>a</t></si>" * 4_000_000
    return re.sub(r"<si>.*</si>", lambda _: strings, text, flags=re.DOTALL)


def one_string_in_many_cells(text: str) -> str:
    """10,000 rows of 90 cells, each the same string of 2,000 characters."""
    cells = '<c t="s"><v>0</v></c>' * 90
    rows = "".join(f'<row r="{number}">{cells}</row>' for number in range(1, 10_000))
    return re.sub(r"<row.*</row>", lambda _: rows, text, flags=re.DOTALL)


def _long_string() -> bytes:
    out = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(changed(SHEET, one_string_in_many_cells))) as made,
        zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as bad,
    ):
        for entry in made.infolist():
            content = made.read(entry)
            if entry.filename == STRINGS:
                content = content.replace(b"<t>Route</t>", b"<t>" + b"x" * 2_000 + b"</t>")
            bad.writestr(entry.filename, content)
    return out.getvalue()


# A name, what makes the file, words of the sentence.
QUICK: list[tuple[str, Callable[[], bytes], str]] = [
    ("row far away", lambda: swapped('<row r="3"', '<row r="999999999999"'), "behind row 1048576"),
    ("row that is no number", lambda: swapped('<row r="3"', '<row r="three"'), "Row 3 of the"),
    ("column behind ZZZ", lambda: swapped('r="A3"', 'r="AAAA3"'), "Row 3 of the sheet"),
    ("column of digits", lambda: swapped('r="A3"', 'r="33"'), "Row 3 of the sheet"),
    ("bad number", lambda: swapped("<v>72</v>", "<v>72 cars</v>"), "Row 3 of the sheet"),
    ("string that is not there", lambda: swapped('t="s"><v>0</v>', 't="s"><v>99</v>'), "Row 1 of"),
    ("style that is no number", lambda: swapped('r="A3"', 'r="A3" s="x"'), "Row 3 of the sheet"),
    ("sheet cut off", lambda: changed(SHEET, lambda text: text[: text.index("A3")]), "Row 3 of"),
    ("strings cut off", lambda: changed(STRINGS, lambda text: text[:150]), "not a workbook"),
    ("sheet without bytes", lambda: changed(SHEET, lambda _: ""), "not a workbook|Row 1"),
    ("file cut off", lambda: GOOD[: len(GOOD) // 2], "not a workbook"),
    ("entities in a sheet",
     lambda: changed(SHEET, lambda text: f"{LAUGHS}{text.replace('<v>72</v>', '<v>&i;</v>')}"),
     "not a workbook|Row|too much"),
    ("entity that reads a file",
     lambda: changed(STRINGS, lambda text: '<!DOCTYPE x [<!ENTITY e SYSTEM "file:///etc/passwd">]>'
                     + text.replace("<t>quiet</t>", "<t>&e;</t>")),
     "not a workbook|Row"),
    ("zip bomb", lambda: packed(SHEET, 201), "too large when unpacked"),
    ("endless number", lambda: swapped("<v>72</v>", f"<v>{'9' * 5000}</v>"), "Row 3 of|cell of"),
    ("NUL in CSV", lambda: b"Route,Stop\nR1\x00,1\n", "not a CSV"),
    ("wrong UTF-16", lambda: b"\xff\xfeR\x00o\x00\x00\xd8x\x00", "cannot be read"),
    ("one line of 2 MB", lambda: b"Route\n" + b"x" * 2_000_000, "Row 2 could not be read"),
    ("2 million columns", lambda: b"," * 2_000_000 + b"x\nR1\n", "more than 200 columns"),
    ("quote not closed", lambda: b'Route,Stop\nR1,1\n"R1,' + b"1\n" * 200_000, "Row 3 could not"),
    ("2 million rows", lambda: b"R\n" + b"1\n" * 2_000_000, "more than 10000 rows"),
    ("carriage returns", lambda: b"Route\rR1\r\r\n\x0b\x0c\x1c" * 3, ""),
]  # fmt: skip
SLOW: list[tuple[str, Callable[[], bytes], str]] = [
    ("4 million strings", lambda: changed(STRINGS, many_strings), "too much time or memory"),
    ("one string in many cells", _long_string, "million characters"),
]
