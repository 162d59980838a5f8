"""Mail to operators when something needs them: once for each problem, and once when it is mended.

Sent by `watch_operations`, outside the workers and their queue: they may be the problem. What has
been told is kept in a file and not in the database, which may be the problem too.
"""

from __future__ import annotations

import json
import logging
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from django.conf import settings
from django.core.mail import send_mail
from django.db import DatabaseError, connection
from django.utils.translation import gettext_lazy

from surveys.language import gettext, said_of
from surveys.operations.problems import Problem, problems

log = logging.getLogger(__name__)

DATABASE_AWAY = Problem(
    key="database", words=gettext_lazy("The database does not answer, so no page can be opened.")
)
# Words of the problems that an address was told of, by key.
Told = dict[str, dict[str, str]]


@dataclass(frozen=True, kw_only=True)
class Letter:
    to: str
    new: list[str]
    mended: list[str]


def look(file: Path) -> list[Letter]:
    """Mail what is new since the last look. A letter that could not be sent is sent at the next.

    Returns the letters that went out.
    """
    told = read_told(file)
    try:
        found, is_all = problems(), True
    except DatabaseError as error:
        connection.close()
        log.warning("The database does not answer: %s", error)
        found, is_all = [DATABASE_AWAY], False
    sent = []
    for address in sorted({*told, *_addresses(found)}):
        before = told.get(address, {})
        theirs = {p.key: str(p.words) for p in found if address in _readers(p)}
        if not is_all:
            # Nothing else is known now, so nothing else is mended.
            theirs = before | theirs
        letter = compare(address, before, theirs)
        if letter is not None:
            if not _send(letter):
                continue
            sent.append(letter)
        told[address] = theirs
    write_told(file, {address: words for address, words in told.items() if words})
    return sent


def compare(address: str, told: Mapping[str, str], found: Mapping[str, str]) -> Letter | None:
    """What to write to somebody who was told of some problems; only operators hear of the end."""
    new = [words for key, words in found.items() if key not in told]
    mended = [words for key, words in told.items() if key not in found]
    if not _is_operator(address):
        mended = []
    if not (new or mended):
        return None
    return Letter(to=address, new=new, mended=mended)


def _is_operator(address: str) -> bool:
    return address in settings.OPERATORS


def _readers(problem: Problem) -> set[str]:
    return {*settings.OPERATORS, *([problem.tell] if problem.tell else [])}


def _addresses(found: list[Problem]) -> set[str]:
    return {address for problem in found for address in _readers(problem)}


def _send(letter: Letter) -> bool:
    if letter.new:
        subject = said_of("{number} problem", "{number} problems", len(letter.new))
    else:
        subject = gettext("No longer a problem")
    parts = [*letter.new]
    if letter.mended:
        parts += [gettext("No longer a problem:"), *letter.mended]
    try:
        send_mail(f"Duskpool: {subject}", "\n\n".join(parts) + "\n", None, [letter.to])
    except OSError as error:
        # smtplib's exceptions are OSErrors.
        log.error("No alert could be emailed to %s: %s", letter.to, error)
        return False
    return True


def read_told(file: Path) -> Told:
    try:
        return json.loads(file.read_text("utf-8"))
    except FileNotFoundError:
        return {}
    except ValueError:
        log.warning("%s cannot be read; every problem is told again.", file)
        return {}


def write_told(file: Path, told: Told) -> None:
    file.parent.mkdir(parents=True, exist_ok=True)
    new = file.with_suffix(".new")
    new.write_text(json.dumps(told, indent=1), "utf-8")
    new.replace(file)
