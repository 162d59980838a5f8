"""Problems with routes and species that the file names and the program does not know."""

import difflib
import re
from collections.abc import Mapping, Sequence

from surveys.importing.problems import Problem, ProblemKind
from surveys.language import gettext, said, said_of
from surveys.protocol.words import first_of, listed
from surveys.visits.sheet.texts import is_missing, quoted

_ROWS_NAMED = 5
# A short word at most before the number: names of places often end in one that means another thing.
_NUMBERED = re.compile(r"(?:[^\W\d_]{0,3}|route|transect|line)[\s.#_-]*0*(\d{1,6})", re.I)
_ROUTES_NAMED = 20
# As many are looked up and told; a file in which the wrong column was chosen has thousands.
_MOST_COMPARED = 200
_MOST_ROWS_LISTED = 1_000


def unknown_routes(
    rows_by_name: Mapping[str, Sequence[int]], *, known: Mapping[str, str], column: str
) -> list[Problem]:
    """`rows_by_name` leads from what was written to the rows; `known` from names to codes."""
    codes = sorted(set(known.values()))
    problems = []
    for number, (text, rows) in enumerate(rows_by_name.items()):
        if is_missing(text):
            message, remedy = (
                gettext("The route is missing."),
                gettext("Write the code of the route."),
            )
        else:
            compared = number < _MOST_COMPARED
            similar = _suggestions(suggested_codes(text, known)) if compared else ""
            routes = said("The routes are {codes}.", codes=", ".join(codes[:_ROUTES_NAMED]))
            message = said("{quoted} is not a route of this program.", quoted=quoted(text))
            remedy = (similar or routes) if codes else gettext("Add it first.")
        problems.append(
            Problem(
                row=rows[0],
                column=column,
                message=f"{message} {_other_rows(rows)}".strip(),
                remedy=remedy,
                kind=ProblemKind.ROUTE,
                written=text,
                rows=tuple(rows[:_MOST_ROWS_LISTED]),
                row_count=len(rows),
            )
        )
    return problems


def unknown_species(
    rows_by_name: Mapping[str, Sequence[int]],
    *,
    known: Mapping[str, str],
    split: Mapping[str, Sequence[str]],
    column: str,
) -> list[Problem]:
    """As `unknown_routes`, of species names. `split` leads from former names that several species
    share to the names of these."""
    problems = []
    for number, (name, rows) in enumerate(rows_by_name.items()):
        parts = split.get(name.casefold(), ())
        compared = not parts and number < _MOST_COMPARED
        similar = [_capital(one) for one in _similar(name, known)] if compared else parts
        problems.append(
            Problem(
                row=rows[0],
                column=column,
                message=f"{_unknown(name, parts)} {_other_rows(rows)}".strip(),
                remedy=_suggestions(similar)
                or gettext("Use the scientific name, or add the species to the checklist first."),
                kind=ProblemKind.SPECIES,
                written=name,
                rows=tuple(rows[:_MOST_ROWS_LISTED]),
                row_count=len(rows),
            )
        )
    return problems


def _unknown(name: str, parts: Sequence[str]) -> str:
    if parts:
        return said(
            "{quoted} was split: today it is the name of several species.", quoted=quoted(name)
        )
    return said("{quoted} is not a species in the catalog.", quoted=quoted(name))


def suggested_codes(text: str, known: Mapping[str, str]) -> list[str]:
    """Codes that a name was likely meant for, the likeliest first; `known` leads from casefolded
    names to codes."""
    codes = (known[name] for name in (*_of_the_same_number(text, known), *_similar(text, known)))
    return list(dict.fromkeys(codes))


def _of_the_same_number(text: str, known: Mapping[str, str]) -> list[str]:
    """`R02` for `Route 2`, where one name alone has this number."""
    number = _number_of(text)
    names = [name for name in known if number is not None and _number_of(name) == number]
    return names if len({known[name] for name in names}) == 1 else []


def _number_of(text: str) -> int | None:
    found = _NUMBERED.fullmatch(text.strip())
    return int(found[1]) if found else None


def _similar(text: str, known: Mapping[str, str]) -> list[str]:
    return difflib.get_close_matches(text.casefold(), list(known), n=3, cutoff=0.6)


def _capital(name: str) -> str:
    return name[:1].upper() + name[1:]


def _suggestions(names: Sequence[str]) -> str:
    distinct = dict.fromkeys(names)
    return (
        said("Did you mean {names}?", names=listed((f"“{one}”" for one in distinct), last="or"))
        if distinct
        else ""
    )


def _other_rows(all_rows: Sequence[int]) -> str:
    others = all_rows[1:]
    if not others:
        return ""
    rows = first_of(others[:_ROWS_NAMED], len(others))
    return said_of("Also in row {rows}.", "Also in rows {rows}.", len(others), rows=rows)
