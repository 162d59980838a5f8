"""A list of people to invite, as typed, pasted or read from a spreadsheet: lines in, people and
problems out. Knows no database."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from django.core.exceptions import ValidationError
from django.core.validators import validate_email

from surveys.language import gettext, said

MOST_PEOPLE = 500
LONGEST_NAME = 120
_NAMED = re.compile(r"(?P<name>[^<>]*)<(?P<email>[^<>]*)>")
_BETWEEN = re.compile(r"[,;\t]")
_HEADS = frozenset({"email", "e-mail", "mail", "name", "first name", "last name", "surname"})


@dataclass(frozen=True, kw_only=True)
class ListedPerson:
    line: int
    email: str
    name: str


@dataclass(frozen=True, kw_only=True)
class LineProblem:
    """`line` None: of the whole list."""

    line: int | None
    message: str

    def __str__(self) -> str:
        if self.line is None:
            return self.message
        return said("Line {line}: {message}", line=self.line, message=self.message)


@dataclass(frozen=True, kw_only=True)
class ReadList:
    people: list[ListedPerson] = field(default_factory=list)
    problems: list[LineProblem] = field(default_factory=list)


def read_list(text: str) -> ReadList:
    """One person a line: `Ada Reed <ada@example.org>`, or name and address in either order with a
    comma, a semicolon or a tab between. Empty lines and a line of column heads are no one."""
    found = ReadList()
    first_line: dict[str, int] = {}
    for number, line in enumerate(text.splitlines(), start=1):
        if not line.strip() or _is_head(line):
            continue
        email, name = _email_and_name(line)
        problem = _problem(email, name, line)
        if not problem and email in first_line:
            problem = said(
                "{email} is in line {line} already. Delete one of the two.",
                email=email,
                line=first_line[email],
            )
        if problem:
            found.problems.append(LineProblem(line=number, message=problem))
        else:
            first_line[email] = number
            found.people.append(ListedPerson(line=number, email=email, name=name))
    found.problems.extend(_of_the_whole(found))
    return found


def lines_of(rows: Iterable[Sequence[str]]) -> str:
    """The rows of a spreadsheet as lines that `read_list` reads. Commas within a cell would divide
    it there, and a tab never stands in a cell that was read."""
    return "\n".join(
        "\t".join(" ".join(cell.split()) for cell in cells if cell.strip()) for cells in rows
    )


def _is_head(line: str) -> bool:
    cells = [cell.strip(" \"'").casefold() for cell in _BETWEEN.split(line)]
    return "@" not in line and all(cell in _HEADS for cell in cells if cell)


def _email_and_name(line: str) -> tuple[str, str]:
    if match := _NAMED.fullmatch(line.strip().rstrip(",;")):
        email, parts = match["email"], [match["name"]]
    else:
        cells = _BETWEEN.split(line)
        at = next((cell for cell in cells if "@" in cell), "")
        email, parts = at, [cell for cell in cells if cell is not at]
    name = " ".join(part.strip(" \"'") for part in parts if part.strip(" \"'"))
    return email.strip(" \"'").lower(), name


def _problem(email: str, name: str, line: str) -> str:
    if not email:
        return said("there is no email address in “{line}”. Add it.", line=line.strip()[:80])
    try:
        validate_email(email)
    except ValidationError:
        return said(
            "“{email}” is not a full email address. Write it like name@example.org.",
            email=email[:80],
        )
    if "\x00" in name:
        return gettext("the name contains a character that cannot be saved. Type it again.")
    if len(name) > LONGEST_NAME:
        return said("the name is longer than {number} characters.", number=LONGEST_NAME)
    return ""


def _of_the_whole(found: ReadList) -> Iterator[LineProblem]:
    if not found.people and not found.problems:
        yield LineProblem(line=None, message=gettext("The list is empty. Write one person a line."))
    if len(found.people) > MOST_PEOPLE:
        yield LineProblem(
            line=None,
            message=said(
                "The list has {number} people. Invite at most {most} at a time.",
                number=len(found.people),
                most=MOST_PEOPLE,
            ),
        )
