"""Gathered sheets made into visits: read and judged like any other sheet."""

import datetime as dt
from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from accounts.models import Membership, Person
from accounts.past_observers import LONGEST_NAME
from surveys.dates import day
from surveys.importing.columns import Choice, check
from surveys.importing.gathered import (
    NOT_RECORDED,
    Answers,
    GatheredSheet,
    Gathering,
    Placed,
)
from surveys.importing.gathering import gather, gathering, place
from surveys.importing.problems import Problem, ProblemKind, Problems
from surveys.importing.row_store import RowStore
from surveys.importing.table import Table
from surveys.importing.too_early import before_stops, stops_begin, without_protocol
from surveys.language import gettext, gettext_noop, said, said_of
from surveys.models import Route, Source, Visit
from surveys.protocol.nights import night_of
from surveys.protocol.seasons import season_year, window_of
from surveys.protocol.telling import Reader, tell
from surveys.protocol.values import Finding
from surveys.protocol.words import first_of
from surveys.runs.progress import ReportProgress, no_report
from surveys.visits.bulk import ProgramSnapshot, program_snapshot
from surveys.visits.judging import Judgment, judge_cells
from surveys.visits.loading import Background, split_names
from surveys.visits.sheet.cells import cell_of

_MOST_KNOWN_LISTED = 5
# The observer of visits of which the file names none.
NOT_NAMED = gettext_noop("Observer not named")


@dataclass(frozen=True, kw_only=True)
class BuiltVisit:
    """A visit ready to be written. `raw` holds the cells of the file as they came. Its observer is
    a person of the program, or becomes one without an account: `new_observer`."""

    route: Route
    night: dt.date
    season_year: int
    window: str
    observer: Person | None
    new_observer: str
    cells: Mapping[str, str]
    raw: Mapping[str, str]
    rows: tuple[int, ...]
    judgment: Judgment


def observer_column(table: Table, choices: Sequence[Choice]) -> str | None:
    columns = zip(table.headers, choices, strict=True)
    return next((h for h, c in columns if c.field is not None and c.field.code == "observer"), None)


def route_names(snapshot: ProgramSnapshot) -> dict[str, str]:
    names = {route.name.casefold(): code for code, route in snapshot.routes.items()}
    return names | {code.casefold(): code for code in snapshot.routes}


@dataclass(kw_only=True)
class Building:
    """An import in the making. `visits` makes one visit after the other; what else is known, and
    all problems, after the last one. `known` is the number of visits that were imported before,
    `new_observers` names that nobody in the program has; `early` has the first night of the file
    by code of the route, where the route's stops begin later."""

    member: Membership
    table: Table
    choices: Sequence[Choice]
    answers: Answers
    now: dt.datetime
    leave_out_known: bool = False
    report: ReportProgress = no_report
    problems: Problems = field(default_factory=Problems)
    notices: tuple[str, ...] = ()
    known: int = 0
    early: dict[str, dt.date] = field(default_factory=dict)
    named: frozenset[str] = frozenset()
    people: Mapping[str, Person] = field(default_factory=dict)
    shared: Collection[str] = ()
    _spellings: dict[str, str] = field(default_factory=dict)
    _rows_of_shared: dict[str, list[int]] = field(default_factory=dict)

    def visits(self) -> Iterator[BuiltVisit]:
        self.notices = self.table.notices
        self.problems.extend(check(self.table, self.choices))
        if self.problems:
            return
        self.people, self.shared = _people(self.member)
        with RowStore() as store:
            yield from self._made(program_snapshot(self.member.program), store)
        column = observer_column(self.table, self.choices)
        self.problems.extend(_shared_name(*found, column) for found in self._rows_of_shared.items())

    @property
    def new_observers(self) -> tuple[str, ...]:
        return tuple(sorted(self._spellings.values()))

    def _made(self, snapshot: ProgramSnapshot, store: RowStore) -> Iterator[BuiltVisit]:
        work = gathering(
            self.table,
            self.choices,
            routes=route_names(snapshot),
            catalog=snapshot.catalog,
            split=split_names(snapshot.species.values()),
            answers=self.answers,
            latest_year=night_of(self.now, self.member.program.time_zone).year,
        )
        work.problems = self.problems
        placed = place(work, self.table, store, self.report)
        self.named = frozenset(work.named)
        self.notices = (*self.notices, *_notices(snapshot, self.named, self.answers))
        grounded = list(self._grounded(snapshot, work, self._fresh(placed), store))
        nights: dict[tuple[str, int], list[dt.date]] = defaultdict(list)
        for visit, _, year in grounded:
            nights[visit.route, year].append(visit.night)
        step = gettext("Checking the visits")
        for number, (visit, background, year) in enumerate(grounded):
            self.report(step, number, len(grounded))
            sheet = gather(work, visit, store)
            yield _build_visit(self, snapshot, sheet, background, year, nights[visit.route, year])

    def _fresh(self, placed: Sequence[Placed]) -> list[Placed]:
        """The visits that were not imported before; the others are a problem, or left out."""
        there = _imported_before(self.member)
        known = [visit for visit in placed if (visit.route, visit.night) in there]
        self.known = len(known)
        if known and not self.leave_out_known:
            self.problems.add(_known_before(known))
        return [visit for visit in placed if (visit.route, visit.night) not in there]

    def _grounded(
        self,
        snapshot: ProgramSnapshot,
        work: Gathering,
        placed: Iterable[Placed],
        store: RowStore,
    ) -> Iterator[tuple[Placed, Background, int]]:
        """Those for which a protocol was in force, with it and the season year."""
        for visit in placed:
            background = snapshot.background(snapshot.routes[visit.route], visit.night)
            if background is None:
                rows = gather(work, visit, store).rows
                self.problems.add(without_protocol(visit, rows))
            else:
                begins = background.protocol.season_year_begins
                yield visit, background, season_year(visit.night, begins)

    def observer_of(self, sheet: GatheredSheet) -> tuple[Person | None, str]:
        """A person of the program, or the name of one to add; the first spelling is kept."""
        written = sheet.observer or gettext(NOT_NAMED)
        person = self.people.get(written.casefold())
        if written.casefold() in self.shared:
            self._rows_of_shared.setdefault(written, []).extend(sheet.rows)
            return None, ""
        name = written[:LONGEST_NAME].strip()
        return person, "" if person else self._spellings.setdefault(name.casefold(), name)


def build(
    member: Membership,
    table: Table,
    choices: Sequence[Choice],
    answers: Answers,
    *,
    now: dt.datetime,
    leave_out_known: bool = False,
    report: ReportProgress = no_report,
) -> Building:
    """Everything an import would write, and all that stands in its way.

    Neither the number of queries nor the memory depends on the number of visits.
    """
    return Building(
        member=member,
        table=table,
        choices=choices,
        answers=answers,
        now=now,
        leave_out_known=leave_out_known,
        report=report,
    )


def person_key(person: Person) -> str:
    """How an answer names a person whose name others have, too, and who has no address."""
    return f"#{person.pk}"


def _shared_name(name: str, rows: Sequence[int], column: str | None) -> Problem:
    return Problem(
        message=said("More than one person of the program is called “{name}”.", name=name),
        remedy=gettext("Choose who surveyed, or write the email into the file."),
        row=rows[0],
        rows=tuple(rows),
        column=column,
        kind=ProblemKind.OBSERVER,
        written=name,
    )


def _people(member: Membership) -> tuple[dict[str, Person], set[str]]:
    """Members by email, by name and by key, present and past; and the names that two share, which
    are nobody's."""
    people: dict[str, Person] = {}
    twice: set[str] = set()
    members = Membership.objects.filter(program=member.program).select_related("person")
    for membership in members:
        name = membership.person.name.casefold()
        if name in people:
            twice.add(name)
        people[name] = membership.person
    for name in twice:
        del people[name]
    people.update(
        (membership.person.email.casefold(), membership.person)
        for membership in members
        if membership.person.has_account
    )
    people.update((person_key(membership.person), membership.person) for membership in members)
    return people, twice


def _imported_before(member: Membership) -> set[tuple[str, dt.date]]:
    return set(
        Visit.objects.filter(route__program=member.program, source=Source.IMPORT)
        .exclude(imported__upload__undone_at__isnull=False)
        .values_list("route__code", "night")
    )


def _known_before(known: Sequence[Placed]) -> Problem:
    named = (
        said("{route} on {night}", route=visit.route, night=day(visit.night))
        for visit in known[:_MOST_KNOWN_LISTED]
    )
    return Problem(
        row=min(visit.first_row for visit in known),
        message=said_of(
            "One visit was imported before: {visits}.",
            "{number} visits were imported before: {visits}.",
            len(known),
            visits=first_of(named, len(known)),
        ),
        remedy=gettext(
            "Choose to skip what was already imported, or set the earlier visits aside and "
            "correct them in review."
        ),
    )


def _build_visit(
    work: Building,
    snapshot: ProgramSnapshot,
    sheet: GatheredSheet,
    background: Background,
    year: int,
    nights: list[dt.date],
) -> BuiltVisit:
    route = snapshot.routes[sheet.route]
    observer, new_observer = work.observer_of(sheet)
    cells = _cells(work, sheet, background)
    companions = _name_member(work, cells, observer)
    judgment = judge_cells(
        cells,
        night=sheet.night,
        background=replace(background, companions=companions),
        surroundings=snapshot.surroundings(
            route,
            sheet.night,
            year,
            person_id=observer.pk if observer and observer.has_account else None,
            now=work.now,
            companions=(night for night in nights if night != sheet.night),
        ),
        is_archive=True,
    )
    if not background.stops and (begin := stops_begin(snapshot, route)) > sheet.night:
        work.early[route.code] = min(sheet.night, work.early.get(route.code, sheet.night))
        work.problems.add(before_stops(sheet, route, begin))
    elif judgment.refusals:
        names = {code: species.name for code, species in background.species.items()}
        reader = work.member.program.reader(names)
        work.problems.extend(_problem(sheet, one, reader) for one in judgment.refusals)
    window = window_of(sheet.night, background.protocol)
    return BuiltVisit(
        route=route,
        night=sheet.night,
        season_year=year,
        window=window.name if window else "",
        observer=observer,
        new_observer=new_observer,
        cells=cells,
        raw=sheet.raw,
        rows=tuple(sheet.rows),
        judgment=judgment,
    )


def _cells(work: Building, sheet: GatheredSheet, background: Background) -> dict[str, str]:
    cells = {
        "night": sheet.night.isoformat(),
        "temperature_unit": background.route.temperature_unit.value,
        "rain_unit": background.route.rain_unit.value,
        **sheet.cells,
    }
    if not work.answers.unnamed_is_zero:
        for species in background.route.checklist:
            if species.code in work.named:
                continue
            for number in sheet.stops:
                if cells.get(f"stops.{number}.status", "").casefold() == "listened":
                    cells[f"stops.{number}.calls.{species.code}"] = NOT_RECORDED
    return cells


def _name_member(work: Building, cells: dict[str, str], observer: Person | None) -> frozenset[int]:
    """A second observer whose name or address one other person of the program has is that person:
    the cells say so, and the person is returned. Any other name is a guest's."""
    person = work.people.get(cells.get("second_observer", "").strip().casefold())
    if person is None or person == observer:
        return frozenset()
    cells["second_member"] = str(person.pk)
    del cells["second_observer"]
    return frozenset({person.pk})


def _problem(sheet: GatheredSheet, finding: Finding, reader: Reader) -> Problem:
    """A refusal of the rules, said of the row and the column that caused it."""
    row, column = sheet.origins.get(cell_of(finding.where), (None, None))
    if row is None and finding.where.stop is not None:
        row = sheet.stops.get(finding.where.stop)
    told = tell(finding, reader)
    remedy = told.remedy
    if finding.code == "clock-repeated":
        remedy = gettext("Write “first” or “second” behind the time, such as 01:30 second.")
    return Problem(
        row=row or sheet.rows[0],
        column=column or None,
        message=told.message,
        remedy=remedy,
        kind=_kind_of(finding, column),
        written=sheet.texts.get((row, column), ""),
    )


def _kind_of(finding: Finding, column: str | None) -> ProblemKind:
    if not column:
        return ProblemKind.ROWS
    is_of_the_cell = finding.code.startswith("cell-") or finding.code == "index-impossible"
    return ProblemKind.CELL if is_of_the_cell else ProblemKind.CLASH


def _notices(snapshot: ProgramSnapshot, named: frozenset[str], answers: Answers) -> list[str]:
    notices = []
    unnamed = [e.species.common_name for e in snapshot.checklist if e.species.code not in named]
    if unnamed and named:
        how = (
            gettext("They count as not heard.")
            if answers.unnamed_is_zero
            else gettext("They count as not recorded: neither heard nor silent.")
        )
        notices.append(
            said(
                "On the checklist, but nowhere in the file: {unnamed}. {how}",
                unnamed=", ".join(unnamed),
                how=how,
            )
        )
    return notices
