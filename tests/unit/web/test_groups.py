"""What the page of a species says of the group it belongs to."""

import pytest

from surveys.trends.joint_entries import JointEntry, ToldEntry
from surveys.web.trends.groups import words_of_group


@pytest.mark.parametrize(
    ("named", "records", "says"),
    [
        (330, 415, "330 of the 415 records of this group (79.5%) name a species, so the joint"),
        (332, 415, "332 of the 415 records of this group (80%) name a species, so its species"),
        (943, 944, "943 of the 944 records of this group (99.9%) name a species, so its species"),
        (1200, 1200, "1,200 of the 1,200 records of this group (100%) name a species"),
        (7999, 10_000, "(79.99%) name a species, so the joint entry is reported."),
        (120, 415, "(29%) name a species, so the joint entry is reported."),
    ],
)
def test_the_share_never_contradicts_what_follows_from_it(named, records, says):
    """At least 80% of the records name a species, or the joint entry is told."""
    group = ToldEntry(
        entry=JointEntry(name="A / B", members=("A", "B")),
        named=named,
        records=records,
        changed=False,
        unnamed_years=frozenset(),
    )
    assert says in words_of_group(group)
