"""Joint entries and the species that are heard as them, by their codes."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping

from django.db.models import QuerySet

from surveys.models import JointMember, Species


def members_by_joint_entry(joint: QuerySet[Species] | Collection[int]) -> dict[str, frozenset[str]]:
    """The codes of the species of each joint entry among these, given as rows or as keys."""
    members: dict[str, set[str]] = defaultdict(set)
    pairs = JointMember.objects.filter(joint__in=joint)
    for code, member in pairs.values_list("joint__code", "member__code"):
        members[code].add(member)
    return {code: frozenset(codes) for code, codes in members.items()}


def with_members(codes: Iterable[str], members: Mapping[str, frozenset[str]]) -> set[str]:
    """Who heard a joint entry may have heard each of its species."""
    return {one for code in codes for one in (code, *members.get(code, ()))}
