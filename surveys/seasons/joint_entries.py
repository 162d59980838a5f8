"""Which joint entries a program has, and whether each is told, or its members."""

from collections import defaultdict

from surveys.models import JointMember, Program
from surveys.seasons.query import fetch
from surveys.trends.joint_entries import JointEntry, ToldEntry, told_entries

_RECORDS = """
SELECT s.scientific_name AS name, w.season_year, count(*) AS records
FROM counted_written w
JOIN surveys_species s ON s.id = w.species_id
WHERE w.program_id = %(program)s
  AND w.species_id = ANY(%(species)s)
  AND w.listed
  AND w.call_index IS NOT NULL
  AND (%(last_year)s::int IS NULL OR w.season_year <= %(last_year)s)
GROUP BY s.scientific_name, w.season_year
"""


def told_in_groups(program: Program, *, last_year: int | None = None) -> tuple[ToldEntry, ...]:
    """What is told of each joint entry of the checklist, by scientific names, from the records up
    to a season year. Everything is asked of all regions together, so that all tell the same."""
    pairs = (
        JointMember.objects.filter(
            joint__checklist_entries__program=program, member__checklist_entries__program=program
        )
        .select_related("joint", "member")
        .order_by("joint__checklist_entries__order", "joint_id", "member__scientific_name")
    )
    members: dict[str, list[str]] = defaultdict(list)
    species: set[int] = set()
    for pair in pairs:
        members[pair.joint.scientific_name].append(pair.member.scientific_name)
        species |= {pair.joint_id, pair.member_id}
    if not species:
        return ()
    records: dict[str, dict[int, int]] = defaultdict(dict)
    for row in fetch(
        _RECORDS, {"program": program.pk, "species": sorted(species), "last_year": last_year}
    ):
        records[row.name][row.season_year] = row.records
    return told_entries(
        (JointEntry(name=joint, members=tuple(names)) for joint, names in members.items()), records
    )
