"""On the phone, a joint entry leaves its species open, and they speak for it."""

import pytest

from surveys.models import ChecklistEntry
from tests.support.builders import make_joint_entry, make_species

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def group(program):
    gray = make_species("Hyla versicolor", "Gray treefrog")
    cope = make_species("Hyla chrysoscelis", "Cope's gray treefrog")
    joint = make_joint_entry("Hyla of two kinds", gray, cope)
    for order, species in enumerate((gray, cope, joint), start=10):
        ChecklistEntry.objects.create(program=program, species=species, order=order)
    return gray, cope, joint


def test_no_species_of_a_joint_entry_is_called_not_heard(take_along_group):
    page, rows = take_along_group
    gray, cope, joint = rows
    for row, name in ((gray, "Gray treefrog"), (joint, "Hyla of two kinds")):
        assert row.get_attribute("aria-label") == f"{name}: not heard"
    joint.click()
    for row, name in ((gray, "Gray treefrog"), (cope, "Cope's gray treefrog")):
        row.and_(page.get_by_label(f"{name}: open: recorded as Hyla of two kinds")).wait_for()
        assert "open: recorded as Hyla of two kinds" in row.inner_text()
    gray.click()
    gray.and_(page.get_by_label("Gray treefrog: call index 1", exact=False)).wait_for()
    # From 1 over 2 and 3 back to nothing: the joint entry is heard by the name of its species.
    for _ in range(3):
        joint.click()
    words = "Hyla of two kinds: heard, by the name of one of its species"
    joint.and_(page.get_by_label(words)).wait_for()
    cope.and_(page.get_by_label("Cope's gray treefrog: not heard")).wait_for()


@pytest.fixture
def take_along_group(group, take_along):
    page = take_along()
    page.get_by_role("button", name="Survey the night of 15 April 2024").click()
    page.get_by_role("button", name="Go to stop 1").click()
    page.get_by_role("button", name="I am at the stop").click()
    rows = [page.locator(f'[data-species="{species.code}"]') for species in group]
    rows[0].wait_for()
    return page, rows
