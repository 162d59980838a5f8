"""Blocks of the desk: tables that are shown in short and downloaded whole."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from urllib.parse import quote

from accounts.models import Membership, Person
from accounts.training import Validity, validity_in_words, validity_on
from surveys import dates
from surveys.language import gettext
from surveys.programs.cover import Cover, covers
from surveys.publishing.formats import yearly_csv as csv

SHOWN = 8


@dataclass(frozen=True, kw_only=True)
class Part:
    """A text of a cell, a line of its own. `in_file` stands in the file in its place; `sign` is an
    icon with the tag of that name, `small` follows in small print."""

    text: str
    url: str = ""
    in_file: str | None = None
    sign: str = ""
    small: str = ""


Cell = tuple[Part, ...]


@dataclass(frozen=True, kw_only=True)
class Block:
    """`more` leads to the place where everything in it is settled: address and words; `also` are
    further ways. The rows of one that only `tells` are nothing to be done."""

    key: str
    title: str
    lede: str
    head: tuple[str, ...]
    rows: Sequence[tuple[Cell, ...]]
    empty: str
    more: tuple[str, str]
    tells: bool = False
    also: tuple[tuple[str, str], ...] = ()

    @property
    def shown(self) -> list[tuple[Cell, list[tuple[str, Cell]]]]:
        """The first cell of a row, and the others with their heads."""
        return [
            (row[0], list(zip(self.head[1:], row[1:], strict=True))) for row in self.rows[:SHOWN]
        ]

    @property
    def hidden(self) -> int:
        return max(0, len(self.rows) - SHOWN)


def block_csv(block: Block) -> str:
    return csv.to_csv(block.head, ([_in_file(cell) for cell in row] for row in block.rows))


def _in_file(cell: Cell) -> str:
    return csv.guard(
        "; ".join(part.text if part.in_file is None else part.in_file for part in cell)
    )


def text(words: object, url: str = "", *, small: str = "", sign: str = "") -> Cell:
    return (Part(text=str(words), url=url, small=small, sign=sign),)


def night(date: dt.date | None) -> Cell:
    """A date as the program writes it, in the file by ISO 8601."""
    if date is None:
        return (Part(text="–", in_file=""),)
    return (Part(text=dates.short_day(date), in_file=date.isoformat()),)


def person(who: Person) -> Cell:
    """A name that writes a letter; in the file with the address, ready to be pasted."""
    return (_letter_to(who),)


def people(cover: Cover, today: dt.date) -> Cell:
    """Whoever surveys a route in a window, each with what stands in the way of it."""
    if not cover.members:
        return (Part(text=gettext("no one"), sign="query"),)
    going = tuple(_surveyor(goer.member, today) for goer in cover.going)
    away = tuple(
        _letter_to(member.person, small=gettext("cannot go"), sign="query") for member in cover.away
    )
    return (*going, *away, *(_surveyor(member, today) for member in cover.left))


def members(found: Sequence[Membership], today: dt.date) -> Cell:
    """Names, each with the call-identification test."""
    return tuple(_surveyor(member, today) for member in found)


def _surveyor(member: Membership, today: dt.date) -> Part:
    if not covers(member):
        return Part(
            text=member.person.name,
            in_file=f"{member.person.name} ({gettext('left')})",
            sign="set-aside",
            small=gettext("left"),
        )
    is_valid = validity_on(member, today) is Validity.VALID
    return _letter_to(
        member.person, small=validity_in_words(member, today), sign="" if is_valid else "note"
    )


def _letter_to(who: Person, *, small: str = "", sign: str = "") -> Part:
    if not who.has_account:
        return Part(text=who.name, small=small, sign=sign)
    return Part(
        text=who.name,
        url=f"mailto:{quote(who.email, safe='@')}",
        in_file=f"{who.name} <{who.email}>",
        small=small,
        sign=sign,
    )
