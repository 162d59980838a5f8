"""What differs between two versions, grouped by cause, as the pages show it."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from django.core.paginator import Paginator
from django.http import Http404, HttpRequest

from surveys.charts.method_words import method_in_words
from surveys.charts.model_words import model_in_words
from surveys.charts.words import written_flags_in_words
from surveys.language import gettext
from surveys.publishing.causes import Visits, grouped_visits, numbers_by_table
from surveys.publishing.differences import NumberChange, VisitChange, Why
from surveys.publishing.formats import yearly_csv as csv
from surveys.publishing.tables import TABLE
from surveys.web.trends.yearly import heading

# Rows of each group beside the others, and of all groups together; the rest is a page of its own.
SHOWN, ALL_SHOWN = 10, 200
A_PAGE = 50


@dataclass(frozen=True, kw_only=True)
class Group:
    """What has one cause, of visits or of numbers. `key` is what an address calls it."""

    key: str
    kind: str
    cause: str
    season_year: int | None = None
    visits: Sequence[VisitChange] = ()
    numbers: Sequence[NumberChange] = ()
    shown: int = 0

    @property
    def count(self) -> int:
        return len(self.visits) + len(self.numbers)

    @property
    def first_visits(self) -> Sequence[VisitChange]:
        return self.visits[: self.shown]

    @property
    def first_numbers(self) -> list[tuple[str, str, str, str]]:
        return in_words(self.numbers[: self.shown])


@dataclass(frozen=True, kw_only=True)
class Part:
    """All that differs of one kind: visits added, a table of numbers."""

    key: str
    title: str
    groups: Sequence[Group]

    @property
    def count(self) -> int:
        return sum(group.count for group in self.groups)


def parts_by_cause(
    visits: Visits,
    numbers: Mapping[str, Sequence[NumberChange]],
    *,
    relisted: Collection[str] = (),
    may_differ: bool = False,
) -> dict[str, list[Part]]:
    """Visits and tables of numbers. `may_differ` where visits that are told as changed were not
    compared whole; `relisted` as in `Difference`."""
    room = ALL_SHOWN
    found: dict[str, list[Part]] = {"visits": [], "tables": []}
    for place, part in (
        *(("visits", part) for part in _of_visits(visits, may_differ=may_differ)),
        *(("tables", part) for part in _of_numbers(numbers, visits, relisted)),
    ):
        groups = []
        for group in part.groups:
            shown = min(group.count, SHOWN, room)
            room -= shown
            groups.append(replace(group, shown=shown))
        found[place].append(Part(key=part.key, title=part.title, groups=groups))
    return found


def _of_visits(visits: Visits, *, may_differ: bool) -> Iterable[Part]:
    changed = gettext("Visits that may change") if may_differ else gettext("Changed visits")
    for key, title, rows in (
        ("added", gettext("Added visits"), visits.came),
        ("removed", gettext("Removed visits"), visits.went),
        ("changed", changed, visits.changed),
    ):
        groups = [
            Group(key=f"{key}-{number}", kind=title, cause=group.cause, visits=group.visits)
            for number, group in enumerate(grouped_visits(rows), 1)
        ]
        yield Part(key=key, title=title, groups=groups)


def _of_numbers(
    numbers: Mapping[str, Sequence[NumberChange]], visits: Visits, relisted: Collection[str]
) -> Iterable[Part]:
    for name, found in numbers_by_table(numbers, visits, relisted).items():
        title = gettext(TABLE[name].title)
        groups = [
            Group(
                key=f"{name}-{number}",
                kind=title,
                cause=group.cause,
                season_year=group.season_year,
                numbers=group.numbers,
            )
            for number, group in enumerate(found, 1)
        ]
        yield Part(key=name, title=title, groups=groups)


def one_group(request: HttpRequest, parts: Mapping[str, Sequence[Part]]) -> dict[str, object]:
    """The group that the address asks for, a page of its rows. Raises Http404."""
    asked = request.GET.get("group")
    groups = (group for of_kind in parts.values() for part in of_kind for group in part.groups)
    group = next((group for group in groups if group.key == asked), None)
    if group is None:
        raise Http404(gettext("There is no such group of changes."))
    page = Paginator(group.visits or group.numbers, A_PAGE).get_page(request.GET.get("page"))
    return {
        "group": group,
        "page_obj": page,
        "page_visits": list(page) if group.visits else [],
        "page_numbers": in_words(list(page)) if group.numbers else [],
    }


def as_csv(parts: Mapping[str, Sequence[Part]], *, show_steps: bool) -> str:
    """Every row of every group. `show_steps`: with who did what in review, and the notes."""
    head = (
        gettext("What"),
        gettext("Cause"),
        gettext("Season"),
        gettext("Visit or row"),
        gettext("Observer"),
        gettext("What differs"),
        gettext("Before"),
        gettext("After"),
        gettext("Why: review steps since then"),
    )
    groups = [group for of_kind in parts.values() for part in of_kind for group in part.groups]
    rows = (row for group in groups for row in _lines(group, show_steps=show_steps))
    return csv.guarded_csv(head, rows)


def _lines(group: Group, *, show_steps: bool) -> Iterable[Sequence[object]]:
    for visit in group.visits:
        yield (
            group.kind,
            group.cause or gettext("No review step"),
            visit.season_year,
            f"{visit.route}, {visit.night.isoformat()}",
            visit.observer,
            gettext(", ").join(gettext(what) for what in visit.what),
            "",
            "",
            gettext("; ").join(_step(why, show_steps=show_steps) for why in visit.why),
        )
    for where, column, before, after in in_words(group.numbers):
        season = group.season_year or gettext("All seasons")
        yield (group.kind, group.cause, season, where, "", column, before, after, "")


def _step(why: Why, *, show_steps: bool) -> str:
    told = [why.step, why.at.date().isoformat()]
    if show_steps:
        told += [why.by, *([why.note] if why.note else [])]
    return gettext(", ").join(str(part) for part in told)


def in_words(numbers: Iterable[NumberChange]) -> list[tuple[str, str, str, str]]:
    return [_words(change) for change in numbers]


def _text(column: str, value: object) -> str:
    """A cell as it was published, with words for codes."""
    text = csv.cell_text(value)
    if text in ("True", "False"):
        return gettext("yes") if text == "True" else gettext("no")
    if column.endswith("flags"):
        return written_flags_in_words(text)
    if column in ("detection_model", "occupancy_model"):
        return model_in_words(text)
    if column == "method":
        return gettext("; ").join(method_in_words(code) for code in text.split("; "))
    return text


def _words(change: NumberChange) -> tuple[str, str, str, str]:
    """Where, which column, old, new. Numbers that differ in later places only show all of them."""
    before, after = (_text(change.column, value) for value in (change.before, change.after))
    if before == after:
        before, after = str(change.before), str(change.after)
    where = ", ".join(str(part) for part in change.key)
    blank = gettext("blank")
    return where, heading(change.column), before or blank, after or blank
