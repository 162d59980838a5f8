"""The stratum of every route, set at once by a text with a line for each."""

from __future__ import annotations

import re
from collections.abc import Iterator

from django.core.exceptions import ValidationError
from django.db import transaction

from accounts.access import Permission, require
from accounts.edit_conflicts import Facts, Seen, check_seen
from accounts.models import Membership
from surveys.language import gettext, said
from surveys.models import Program, Route

_LONGEST = Route._meta.get_field("stratum").max_length
# As a spreadsheet copies two columns, or a text file has them.
_BETWEEN = re.compile(r"\t|,|;")


def strata_as_text(program: Program) -> str:
    """A line for each route: its code, a comma, its stratum."""
    pairs = program.routes.order_by("code").values_list("code", "stratum")
    return "\n".join(f"{code}, {stratum}" if stratum else code for code, stratum in pairs)


def strata_facts(program: Program) -> Facts:
    """What the form of the strata shows."""
    return {gettext("Strata"): strata_as_text(program)}


@transaction.atomic
def set_strata(member: Membership, text: str, *, seen: Seen | None = None) -> int:
    """Set the stratum of every route that the text names, and leave the others; the number of
    routes that changed.

    Raises ValidationError with a sentence for each line that cannot be read, EditConflict.
    """
    require(member, Permission.MANAGE)
    program = Program.objects.select_for_update().get(pk=member.program_id)
    check_seen(member, seen, strata_facts(program), [])
    routes = {route.code.casefold(): route for route in program.routes.all()}
    problems = list(_problems(text, routes))
    if problems:
        raise ValidationError({"strata": problems})
    wanted = {routes[code.casefold()]: stratum for _, code, stratum in _lines(text)}
    changed = [route for route, stratum in wanted.items() if route.stratum != stratum]
    for route in changed:
        route.stratum = wanted[route]
    Route.objects.bulk_update(changed, ["stratum"])
    return len(changed)


def _lines(text: str) -> Iterator[tuple[int, str, str]]:
    for number, line in enumerate(text.splitlines(), 1):
        code, *rest = _BETWEEN.split(line, maxsplit=1)
        if line.strip():
            yield number, code.strip(), " ".join("".join(rest).split())


def _problems(text: str, routes: dict[str, Route]) -> Iterator[str]:
    first: dict[str, int] = {}
    for number, code, stratum in _lines(text):
        if code.casefold() not in routes:
            yield said(
                "Line {number}: there is no route with the code “{code}”.",
                number=number,
                code=code[:60],
            )
        elif code.casefold() in first:
            yield said(
                "Line {number}: route {code} is in line {first} already.",
                number=number,
                code=code,
                first=first[code.casefold()],
            )
        elif len(stratum) > _LONGEST:
            yield said(
                "Line {number}: a stratum has at most {most} characters.",
                number=number,
                most=_LONGEST,
            )
        first.setdefault(code.casefold(), number)
