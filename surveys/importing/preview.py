"""What an import would do, before it does it."""

import datetime as dt
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from itertools import islice
from typing import Any

from surveys.dates import day
from surveys.importing.build import Building, BuiltVisit
from surveys.importing.columns import Choice
from surveys.importing.gathered import NOT_RECORDED
from surveys.importing.problems import Problem, ProblemKind, Problems, Sort, sort_of
from surveys.importing.table import Row, Table
from surveys.language import gettext, said
from surveys.protocol.values import CallDistance, PeriodStatus, Severity

FIRST_ROWS = 8
MOST_PROBLEMS = 200
FAR = CallDistance.FAR
_INDEX_TEXTS = frozenset({"0", "1", "2", "3", "", "-", NOT_RECORDED})


@dataclass(frozen=True, kw_only=True)
class Preview:
    """`far` counts calls beyond the listening radius, which are no detections. `problems` are
    those shown; `problem_count` counts all of them, `sorts` those of each kind and column. `early`
    pairs routes whose stops begin too late with the first night of the file, in ISO form."""

    visits: int
    stops: int
    detections: int
    queries: int
    nights: str
    species: tuple[tuple[str, int], ...]
    problems: tuple[Problem, ...]
    problem_count: int
    sorts: tuple[tuple[ProblemKind, str, int], ...]
    notices: tuple[str, ...]
    headers: tuple[str, ...]
    meanings: tuple[str, ...]
    first_rows: tuple[Row, ...]
    known: int
    new_observers: tuple[str, ...] = ()
    far: int = 0
    early: tuple[tuple[str, str], ...] = ()

    @property
    def can_commit(self) -> bool:
        return not self.problem_count and self.visits > 0


def preview(
    table: Table, choices: Sequence[Choice], built: Building, *, species_names: Mapping[str, str]
) -> Preview:
    """`species_names` leads from codes to the names to show."""
    counts = _Counts()
    for visit in built.visits():
        counts.add(visit)
    return Preview(
        visits=counts.visits,
        stops=counts.stops,
        detections=counts.heard.total(),
        far=counts.far,
        queries=counts.queries,
        nights=counts.nights,
        species=tuple(
            (species_names.get(code, code), number) for code, number in counts.heard.most_common()
        ),
        problems=_shown(built.problems),
        problem_count=len(built.problems),
        sorts=tuple((*sort, count) for sort, count in built.problems.counts.items()),
        notices=(*built.notices, *_ignored(table, choices)),
        headers=table.headers,
        meanings=tuple(meaning(choice, species_names) for choice in choices),
        first_rows=tuple(islice(table.rows, FIRST_ROWS)),
        known=built.known,
        new_observers=built.new_observers,
        early=tuple((route, night.isoformat()) for route, night in sorted(built.early.items())),
    )


@dataclass(kw_only=True)
class _Counts:
    """What visits hold, in numbers."""

    visits: int = 0
    stops: int = 0
    queries: int = 0
    far: int = 0
    first: dt.date = dt.date.max
    last: dt.date = dt.date.min
    heard: Counter[str] = field(default_factory=Counter)

    @property
    def nights(self) -> str:
        if not self.visits:
            return ""
        if self.first == self.last:
            return day(self.first)
        return said("{first} to {last}", first=day(self.first), last=day(self.last))

    def add(self, visit: BuiltVisit) -> None:
        self.visits += 1
        self.first, self.last = min(self.first, visit.night), max(self.last, visit.night)
        self.queries += sum(f.severity is Severity.QUERY for f in visit.judgment.findings)
        has_radius = visit.judgment.background.protocol.listening_radius_m is not None
        for period in visit.judgment.reading.visit.periods:
            if period.status is PeriodStatus.LISTENED:
                self.stops += 1
                heard = [call for call in period.calls if call.index]
                near = [call for call in heard if not (has_radius and call.distance == FAR)]
                self.far += len(heard) - len(near)
                self.heard.update(call.species for call in near)


def plain_preview(seen: Preview) -> dict[str, Any]:
    """As JSON keeps it, until `preview_from_plain`."""
    return asdict(seen)


def preview_from_plain(plain: Mapping[str, Any]) -> Preview:
    return Preview(
        **{
            **plain,
            "species": tuple((name, number) for name, number in plain["species"]),
            "problems": tuple(_problem_from_plain(problem) for problem in plain["problems"]),
            # A check from before they were counted has none.
            "sorts": tuple((ProblemKind(k), c, n) for k, c, n in plain.get("sorts", ())),
            "first_rows": tuple(
                Row(number=row["number"], texts=tuple(row["texts"])) for row in plain["first_rows"]
            ),
            **{name: tuple(plain[name]) for name in ("notices", "headers", "meanings")},
            "new_observers": tuple(plain.get("new_observers", ())),
            "early": tuple((route, night) for route, night in plain.get("early", ())),
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
    return f"{choice.field.label}: {form}" if form else str(choice.field.label)


def _shown(problems: Problems) -> tuple[Problem, ...]:
    """The first ones, by their rows; of each sort some, even where another has thousands."""
    in_order = sorted(problems.told(), key=_by_row)
    share = max(MOST_PROBLEMS // max(len(problems.counts), 1), 1)
    of_sort: Counter[Sort] = Counter()
    shown, later = [], []
    for problem in in_order:
        of_sort[sort_of(problem)] += 1
        (shown if of_sort[sort_of(problem)] <= share else later).append(problem)
    chosen = [*shown, *later][:MOST_PROBLEMS]
    return tuple(sorted(chosen, key=_by_row))


def _by_row(problem: Problem) -> tuple[bool, int]:
    """Problems of the whole file come first."""
    return problem.row is not None, problem.row or 0


def _ignored(table: Table, choices: Sequence[Choice]) -> list[str]:
    """Ignored columns that hold something; those that look like call indices first."""
    indices, others = [], []
    for position, (header, choice) in enumerate(zip(table.headers, choices, strict=True)):
        texts = set(table.different_cells(position))
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
