"""Whether a joint entry ("gray treefrog or Cope's") is told, or its members.

Both have results, made of the same calls. Told in words and by an arrow is one of them: the members
where nearly all records of the group name one, else the joint entry.

Calls that name no member are missing for all of them, but silences are not. Where many calls name
none, the silences that are left would make a member look rarer than it is. So a season year has no
shares for the members unless nearly all of its records name one.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from surveys.trends.estimates import (
    FEW_NAMED,
    JOINT_ENTRY_TOLD,
    MEMBERS_TOLD,
    NAMING_CHANGED,
    NEVER_HEARD,
    flagged,
    merge_flags,
)
from surveys.trends.species_result import SpeciesResult
from surveys.trends.table import YearRow

# Members are told where at least this share of the records of the group names one of them (common
# practice, no source).
NAMED_SHARE = 0.8

# Records that count, by season year.
YearlyRecords = Mapping[int, int]


@dataclass(frozen=True, kw_only=True)
class JointEntry:
    """A joint entry of a checklist, and those of its members that are on the checklist too."""

    name: str
    members: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class ToldEntry:
    """What is told of a group: ``named`` of its ``records`` name a member. ``changed`` says that
    the first and the second half of the years would tell different entries. ``unnamed_years`` are
    the season years with shares for the joint entry only."""

    entry: JointEntry
    named: int
    records: int
    changed: bool
    unnamed_years: frozenset[int]

    @property
    def tells_members(self) -> bool:
        return _tells_members(self.named, self.records)


def told_entries(
    entries: Iterable[JointEntry], records: Mapping[str, YearlyRecords]
) -> tuple[ToldEntry, ...]:
    """What is told of each group, from the records that count.

    Parameters
    ----------
    entries
        Joint entries of one checklist. An entry without members beside it on the checklist leaves
        nothing to choose.
    records
        How often each joint entry and member was written down, by name and season year: records of
        the very entry, not what follows from them.

    Returns
    -------
    tuple of ToldEntry
        One for each entry that has members and records, in the order given. ``changed`` compares
        the first and the second half of the season years with records; of an odd number the middle
        one belongs to neither.

    Examples
    --------
    >>> entry = JointEntry(name="A or B", members=("A", "B"))
    >>> (told,) = told_entries([entry], {"A": {2023: 9}, "A or B": {2023: 1, 2024: 10}})
    >>> told.named, told.records, told.tells_members, told.changed
    (9, 20, False, True)
    """
    return tuple(
        told
        for entry in entries
        if entry.members and (told := _told_entry(entry, records)) is not None
    )


def group_flags(name: str, told: Iterable[ToldEntry]) -> tuple[str, ...]:
    """The flags of a joint entry or a member that is not told, or whose records changed.

    Parameters
    ----------
    name
        A species or joint entry of the checklist.
    told
        What is told of each group of the checklist.

    Returns
    -------
    tuple of str
        Flags of ``estimates.FLAGS``; none for a species in no group.

    Examples
    --------
    >>> entry = JointEntry(name="A or B", members=("A", "B"))
    >>> told = told_entries([entry], {"A": {2023: 1}, "A or B": {2023: 9}})
    >>> group_flags("A", told), group_flags("A or B", told)
    (('joint-entry-told', 'few-named'), ())
    """
    flags: dict[str, None] = {}
    for group in told:
        is_joint = name == group.entry.name
        if not is_joint and name not in group.entry.members:
            continue
        if is_joint and group.tells_members:
            flags[MEMBERS_TOLD] = None
        if not is_joint and not group.tells_members:
            flags[JOINT_ENTRY_TOLD] = None
        if not is_joint and group.unnamed_years:
            flags[FEW_NAMED] = None
        if group.changed:
            flags[NAMING_CHANGED] = None
    return tuple(flags)


def unnamed_years(name: str, told: Iterable[ToldEntry]) -> frozenset[int]:
    """The season years that have no shares for a member of a group.

    Parameters
    ----------
    name
        A species or joint entry of the checklist.
    told
        What is told of each group of the checklist.

    Returns
    -------
    frozenset of int
        Season years; none for a joint entry or a species in no group.

    Examples
    --------
    >>> entry = JointEntry(name="A or B", members=("A", "B"))
    >>> told = told_entries([entry], {"A": {2023: 9, 2024: 1}, "A or B": {2024: 9}})
    >>> unnamed_years("A", told), unnamed_years("A or B", told)
    (frozenset({2024}), frozenset())
    """
    return frozenset().union(
        *(group.unnamed_years for group in told if name in group.entry.members)
    )


def mark_row(row: YearRow, told: Iterable[ToldEntry]) -> YearRow:
    """A row of the yearly table with the flags of its group; without shares in a season year whose
    records do not name the species."""
    groups = tuple(told)
    flags = group_flags(row.species, groups)
    if FEW_NAMED in flags and row.season_year in unnamed_years(row.species, groups):
        row = replace(
            row,
            naive_occupancy=None,
            naive_low=None,
            naive_high=None,
            share_index_1=None,
            share_index_2=None,
            share_index_3=None,
            mean_index=None,
            # The joint entry was heard, and that may have been this species.
            flags=tuple(flag for flag in row.flags if flag != NEVER_HEARD),
        )
    else:
        flags = tuple(flag for flag in flags if flag != FEW_NAMED)
    return replace(row, flags=merge_flags(row.flags, flags))


def with_flags(result: SpeciesResult, flags: Sequence[str]) -> SpeciesResult:
    """The result with flags on its trends and on every year. A year whose records name too few has
    no share and is not among them."""
    if not flags:
        return result
    of_years = [flag for flag in flags if flag != FEW_NAMED]
    trend, whole, chorus = result.trend, result.whole, result.chorus
    return replace(
        result,
        trend=replace(trend, occupancy=flagged(trend.occupancy, *flags)),
        years=tuple(
            replace(year, occupancy=flagged(year.occupancy, *of_years)) for year in result.years
        ),
        chorus=chorus and replace(chorus, full_chorus=flagged(chorus.full_chorus, *flags)),
        whole=whole and replace(whole, change=flagged(whole.change, *flags)),
    )


def _tells_members(named: int, records: int) -> bool:
    # In whole numbers: 0.8 * 5 must not be more than 4.
    return 10 * named >= round(10 * NAMED_SHARE) * records


def _told_entry(entry: JointEntry, records: Mapping[str, YearlyRecords]) -> ToldEntry | None:
    named: dict[int, int] = {}
    total: dict[int, int] = {}
    for name in (entry.name, *entry.members):
        for year, count in records.get(name, {}).items():
            if count:
                total[year] = total.get(year, 0) + count
                named[year] = named.get(year, 0) + (count if name != entry.name else 0)
    if not total:
        return None
    years = sorted(total)
    unnamed = frozenset(year for year in years if not _tells_members(named[year], total[year]))
    half = len(years) // 2
    ends = (years[:half], years[len(years) - half :]) if half else ()
    sides = {
        _tells_members(sum(named[year] for year in end), sum(total[year] for year in end))
        for end in ends
    }
    return ToldEntry(
        entry=entry,
        named=sum(named.values()),
        records=sum(total.values()),
        changed=len(sides) > 1,
        unnamed_years=unnamed,
    )
