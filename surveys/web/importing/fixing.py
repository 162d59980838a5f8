"""Problems of a file in groups, each with what can be decided about it for all its rows."""

import json
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from django.db.models import Count, Q
from django.http import QueryDict

from accounts.models import Person
from surveys.importing.build import NOT_NAMED, observer_column, person_key, route_names
from surveys.importing.fixes import Fix
from surveys.importing.preview import Preview
from surveys.importing.problems import Problem, ProblemKind, Sort, sort_of
from surveys.importing.unknown_names import suggested_codes
from surveys.importing.uploads import Upload
from surveys.language import gettext, said, said_of
from surveys.models import Program
from surveys.visits.bulk import program_snapshot
from surveys.visits.loading import shared_synonyms
from surveys.visits.sheet.cells import storable

LEAVE_OUT = "leave-out"
_LONGEST_TEXT = 200
_MOST_FIXES = 500
# Fields of observers are numbered behind those of problems.
_FIRST_OBSERVER = 300
_MOST_OBSERVERS = 200
_ROWS_NAMED = 6
_NAMED = (ProblemKind.ROUTE, ProblemKind.SPECIES)


@dataclass(frozen=True, kw_only=True)
class Item:
    """One problem. `options` are what a name can stand for, `suggested` the likeliest."""

    number: int
    problem: Problem
    rows: str
    options: tuple[tuple[str, tuple[tuple[str, str], ...]], ...] = ()
    suggested: str = ""

    @property
    def is_name(self) -> bool:
        return self.problem.kind in (*_NAMED, ProblemKind.OBSERVER)

    @property
    def is_text(self) -> bool:
        return self.problem.kind in (ProblemKind.CELL, ProblemKind.CLASH)

    @property
    def may_leave_out(self) -> bool:
        return self.problem.kind is not ProblemKind.OTHER

    @property
    def plain(self) -> str:
        """The problem as the page sends it back with its answer."""
        problem = self.problem
        # An answer for every row where the same is written needs none of their numbers.
        of_rows = problem.kind in (ProblemKind.ROWS, ProblemKind.CLASH)
        rows = problem.all_rows if of_rows else ()
        return json.dumps([problem.kind, problem.column, problem.written, rows])


@dataclass(frozen=True, kw_only=True)
class Group:
    """`count` is the number of problems, of which `items` are the first."""

    key: str
    title: str
    items: tuple[Item, ...]
    count: int

    @property
    def is_whole(self) -> bool:
        return self.count == len(self.items)

    @property
    def is_of_columns(self) -> bool:
        """Whether it is answered where the columns are matched, not here."""
        return all(item.problem.kind is ProblemKind.OTHER for item in self.items)


@dataclass(frozen=True, kw_only=True)
class Names:
    """What names in the file can stand for: names and codes of routes and species. `split` leads
    from former names that several species share to the codes of these."""

    routes: Mapping[str, str]
    route_labels: Mapping[str, str]
    species: Mapping[str, str]
    species_labels: Mapping[str, str]
    split: Mapping[str, tuple[str, ...]]
    listed: tuple[str, ...]
    people: Mapping[str, str]


def names_of(program: Program) -> Names:
    snapshot = program_snapshot(program)
    return Names(
        routes=route_names(snapshot),
        route_labels={
            code: said("{code} {name}", code=code, name=route.name)
            for code, route in snapshot.routes.items()
        },
        species=snapshot.catalog,
        species_labels={code: row.name for code, row in snapshot.species.items()},
        split={
            name: tuple(row.code for row in rows)
            for name, rows in shared_synonyms(snapshot.species.values()).items()
        },
        listed=tuple(entry.species.code for entry in snapshot.checklist),
        people=_people(program),
    )


def _people(program: Program) -> dict[str, str]:
    """How everyone in the program is named in a file, by email or by name, and on the page. Of
    people who share their name, the page says more."""
    people = list(
        Person.objects.filter(memberships__program=program)
        .annotate(
            visit_count=Count("visits", filter=Q(visits__route__program=program), distinct=True)
        )
        .order_by("name", "pk")
    )
    times = Counter(person.name.casefold() for person in people)
    named = {}
    for person in people:
        is_shared = times[person.name.casefold()] > 1
        key = person.email or (person_key(person) if is_shared else person.name)
        named[key] = _label(person) if is_shared else str(person)
    return named


def _label(person: Person) -> str:
    """`Wren Oakley, wren@example.org`, `Wren Oakley, no account, 12 visits`."""
    if person.email:
        return f"{person.name}, {person.email}"
    return said_of(
        "{name}, no account, {number} visit",
        "{name}, no account, {number} visits",
        person.visit_count,
        name=person.name,
    )


def observer_items(upload: Upload, observers: Sequence[str], names: Names) -> tuple[Item, ...]:
    """A choice for each name that nobody in the program has: a new person, or one who is there."""
    column = observer_column(upload.table, upload.choices)
    if column is None:
        return ()
    by_name = {label.casefold(): key for key, label in names.people.items()}
    return tuple(
        Item(
            number=_FIRST_OBSERVER + number,
            problem=Problem(message=name, column=column, written=name, kind=ProblemKind.OBSERVER),
            rows="",
            options=_options(suggested_codes(name, by_name), names.people, ()),
        )
        for number, name in enumerate(observers[:_MOST_OBSERVERS])
        if name != gettext(NOT_NAMED)
    )


def groups_of(seen: Preview, names: Names) -> tuple[Group, ...]:
    """By kind and column, in the order in which they first appear."""
    by_sort: dict[Sort, list[Item]] = {}
    for number, problem in enumerate(seen.problems):
        by_sort.setdefault(sort_of(problem), []).append(_item(number, problem, names))
    counts = {(kind, column): count for kind, column, count in seen.sorts}
    return tuple(
        Group(
            key=f"group-{number}",
            title=_title(*sort),
            items=tuple(items),
            count=max(counts.get(sort, 0), len(items)),
        )
        for number, (sort, items) in enumerate(by_sort.items())
    )


def _title(kind: ProblemKind, column: str) -> str:
    titles = {
        ProblemKind.ROUTE: gettext("Routes that we do not know"),
        ProblemKind.SPECIES: gettext("Species that we do not know"),
        ProblemKind.CELL: said("Cells that we cannot read: column “{column}”", column=column),
        ProblemKind.CLASH: said("Cells that do not fit: column “{column}”", column=column),
        ProblemKind.OBSERVER: gettext("Observers"),
        ProblemKind.ROWS: gettext("Rows and visits that do not fit"),
        ProblemKind.OTHER: gettext("The file as a whole"),
    }
    return titles[kind]


def _item(number: int, problem: Problem, names: Names) -> Item:
    rows, parts = problem.all_rows, None
    item = Item(number=number, problem=problem, rows=_rows_named(rows, problem.row_count))
    if problem.kind is ProblemKind.ROUTE:
        likely = suggested_codes(problem.written, names.routes)
        options = _options(likely, names.route_labels, ())
    elif problem.kind is ProblemKind.SPECIES:
        parts = names.split.get(problem.written.casefold())
        likely = parts or suggested_codes(problem.written, names.species)
        options = _options(likely, names.species_labels, names.listed)
    elif problem.kind is ProblemKind.OBSERVER:
        return replace(item, options=_called(problem.written, names))
    else:
        return item
    return Item(
        number=number,
        problem=problem,
        rows=item.rows,
        options=options,
        # Which part of a split species it was, only the coordinator can say.
        suggested=likely[0] if likely and not parts else "",
    )


def _called(name: str, names: Names) -> tuple[tuple[str, tuple[tuple[str, str], ...]], ...]:
    """Those who are called so; which of them it was only the coordinator knows."""
    start = f"{name.casefold()}, "
    called = [key for key, label in names.people.items() if label.casefold().startswith(start)]
    return _options(called, names.people, ())


def _options(
    likely: Sequence[str], labels: Mapping[str, str], listed: Sequence[str]
) -> tuple[tuple[str, tuple[tuple[str, str], ...]], ...]:
    others = sorted(set(labels) - set(likely) - set(listed), key=lambda code: labels[code])
    groups = (
        (gettext("Most alike"), likely),
        (gettext("On the checklist"), [code for code in listed if code not in likely]),
        (gettext("All others"), others),
    )
    return tuple(
        (label, tuple((code, labels[code]) for code in codes)) for label, codes in groups if codes
    )


def _rows_named(rows: Sequence[int], count: int) -> str:
    """`count` is told where not all rows are listed."""
    if not rows:
        return ""
    distinct = sorted(set(rows))
    named = ", ".join(str(row) for row in distinct[:_ROWS_NAMED])
    if len(distinct) > _ROWS_NAMED:
        named += "…"
    number = count if count > len(rows) else len(distinct)
    return said_of("row {rows}", "{number} rows: {rows}", number, rows=named)


@dataclass(frozen=True, kw_only=True)
class Chosen:
    """What was decided on the page; `refused` says of each answer that is not used why."""

    fixes: tuple[Fix, ...]
    refused: tuple[str, ...]


class AnswerRefusedError(ValueError):
    """Says which answer cannot be used, why, and what to do."""


def chosen_fixes(data: QueryDict, upload: Upload, names: Names) -> Chosen:
    fixes: list[Fix] = []
    refused: list[str] = []
    for number in range(_MOST_FIXES):
        if f"problem_{number}" in data:
            try:
                fixes += _fixes(data, str(number), upload, names)
            except AnswerRefusedError as refusal:
                refused.append(str(refusal))
    return Chosen(fixes=tuple(fixes), refused=tuple(refused))


def _fixes(data: QueryDict, number: str, upload: Upload, names: Names) -> Iterator[Fix]:
    try:
        kind, column, written, rows = json.loads(data[f"problem_{number}"])
        rows = [int(row) for row in rows]
    except (ValueError, TypeError, RecursionError):
        raise AnswerRefusedError(
            gettext("An answer did not arrive whole. Answer it again on this page.")
        ) from None
    answer = data.get(f"as_{number}", "").strip()
    leaves_out = answer == LEAVE_OUT or f"out_{number}" in data
    if kind == ProblemKind.ROWS:
        if leaves_out:
            yield from (Fix(column="", written="", becomes=None, row=row) for row in rows)
        return
    if not (leaves_out or answer):
        return
    if not isinstance(written, str) or column not in upload.table.headers:
        raise AnswerRefusedError(
            said(
                "The file no longer has the column “{column}”, so your answer is not used. Answer "
                "again what is still open.",
                column=storable(str(column))[:_LONGEST_TEXT],
            )
        )
    if kind in (*_NAMED, ProblemKind.OBSERVER):
        known = {
            ProblemKind.ROUTE: names.route_labels,
            ProblemKind.SPECIES: names.species_labels,
            ProblemKind.OBSERVER: names.people,
        }[kind]
        if not leaves_out and answer not in known:
            raise AnswerRefusedError(
                said(
                    "“{written}” cannot be read as “{answer}”: the program has no such entry. "
                    "Choose one from the list.",
                    written=storable(written),
                    answer=storable(answer)[:_LONGEST_TEXT],
                )
            )
    if not leaves_out and len(answer) > _LONGEST_TEXT:
        raise AnswerRefusedError(
            said(
                "Your answer for “{written}” has {length} characters. Shorten it to {most}.",
                written=storable(written),
                length=len(answer),
                most=_LONGEST_TEXT,
            )
        )
    row = rows[0] if kind == ProblemKind.CLASH and rows else 0
    becomes = None if leaves_out else storable(answer)
    yield Fix(column=column, written=storable(written), becomes=becomes, row=row)


def told_fixes(fixes: Iterable[Fix], names: Mapping[str, str]) -> list[str]:
    """What was decided, in words; `names` leads from codes of species and people to names."""
    return [_told(fix, names) for fix in fixes]


def _told(fix: Fix, names: Mapping[str, str]) -> str:
    if not fix.column:
        return said("Row {row} is left out.", row=fix.row)
    if fix.becomes is None:
        text = gettext("{column}: rows with “{written}” are left out.")
    elif fix.row:
        text = gettext("{column}, row {row}: “{written}” is read as “{becomes}”.")
    else:
        text = gettext("{column}: “{written}” is read as “{becomes}”.")
    becomes = names.get(fix.becomes or "", fix.becomes or "")
    return said(text, column=fix.column, row=fix.row, written=fix.written, becomes=becomes)
