"""What an import would do, before it does it."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from surveys.dates import day
from surveys.importing.build import Built
from surveys.importing.columns import Choice
from surveys.importing.gathered import NOT_RECORDED
from surveys.importing.problems import Problem, ProblemKind, told_once
from surveys.importing.table import Row, Table
from surveys.language import gettext, said
from surveys.protocol.values import PeriodStatus, Severity

FIRST_ROWS = 8
MOST_PROBLEMS = 200
_INDEX_TEXTS = frozenset({"0", "1", "2", "3", "", "-", NOT_RECORDED})


@dataclass(frozen=True, kw_only=True)
class Preview:
    """`problems` are those shown; `problem_count` counts all of them."""

    visits: int
    stops: int
    detections: int
    queries: int
    nights: str
    species: tuple[tuple[str, int], ...]
    problems: tuple[Problem, ...]
    problem_count: int
    notices: tuple[str, ...]
    headers: tuple[str, ...]
    meanings: tuple[str, ...]
    first_rows: tuple[Row, ...]
    known: int
    new_observers: tuple[str, ...] = ()

    @property
    def can_commit(self) -> bool:
        return not self.problem_count and self.visits > 0


def preview(
    table: Table, choices: Sequence[Choice], built: Built, *, species_names: Mapping[str, str]
) -> Preview:
    """`species_names` leads from codes to the names to show."""
    periods = [
        period
        for visit in built.visits
        for period in visit.judgment.reading.visit.periods
        if period.status is PeriodStatus.LISTENED
    ]
    heard = Counter(call.species for period in periods for call in period.calls if call.index)
    nights = sorted(visit.night for visit in built.visits)
    problems = told_once(built.problems)
    return Preview(
        visits=len(built.visits),
        stops=len(periods),
        detections=heard.total(),
        queries=sum(
            finding.severity is Severity.QUERY
            for visit in built.visits
            for finding in visit.judgment.findings
        ),
        nights=said("{first} to {last}", first=day(nights[0]), last=day(nights[-1]))
        if nights
        else "",
        species=tuple(
            (species_names.get(code, code), number) for code, number in heard.most_common()
        ),
        problems=_in_order(problems)[:MOST_PROBLEMS],
        problem_count=len(problems),
        notices=(*built.notices, *_ignored(table, choices)),
        headers=table.headers,
        meanings=tuple(meaning(choice, species_names) for choice in choices),
        first_rows=table.rows[:FIRST_ROWS],
        known=built.known,
        new_observers=built.new_observers,
    )


def plain_preview(seen: Preview) -> dict[str, Any]:
    """As JSON keeps it, until `preview_from_plain`."""
    return asdict(seen)


def preview_from_plain(plain: Mapping[str, Any]) -> Preview:
    return Preview(
        **{
            **plain,
            "species": tuple((name, number) for name, number in plain["species"]),
            "problems": tuple(_problem_from_plain(problem) for problem in plain["problems"]),
            "first_rows": tuple(
                Row(number=row["number"], texts=tuple(row["texts"])) for row in plain["first_rows"]
            ),
            **{name: tuple(plain[name]) for name in ("notices", "headers", "meanings")},
            "new_observers": tuple(plain.get("new_observers", ())),
        }
    )


def _problem_from_plain(plain: Mapping[str, Any]) -> Problem:
    kind = ProblemKind(plain.get("kind", ProblemKind.OTHER))
    return Problem(**{**plain, "kind": kind, "rows": tuple(plain.get("rows", ()))})


def meaning(choice: Choice, species_names: Mapping[str, str]) -> str:
    """How a column is read, in words."""
    if choice.species:
        return species_names.get(choice.species, choice.species)
    if choice.field is None:
        return gettext("Ignored")
    form = next((form.label for form in choice.field.forms if form.code == choice.form), "")
    return f"{choice.field.label} ({form})" if form else str(choice.field.label)


def _in_order(problems: Sequence[Problem]) -> tuple[Problem, ...]:
    return tuple(sorted(problems, key=lambda problem: (problem.row is not None, problem.row or 0)))


def _ignored(table: Table, choices: Sequence[Choice]) -> list[str]:
    """Ignored columns that hold something; those that look like call indices first."""
    indices, others = [], []
    for position, (header, choice) in enumerate(zip(table.headers, choices, strict=True)):
        texts = set(table.column(position))
        if choice.field is not None or choice.species or texts <= {""}:
            continue
        (indices if texts <= _INDEX_TEXTS else others).append(f"“{header}”")
    notices = []
    if indices:
        notices.append(
            said(
                "Looks like call indices, but is not read as a species: {indices}. Choose"
                " the species for it, or leave it ignored.",
                indices=", ".join(indices),
            )
        )
    if others:
        notices.append(
            said("Not imported: {others}. It stays in the stored file.", others=", ".join(others))
        )
    return notices
