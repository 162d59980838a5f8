"""270 imported visits reviewed by a script that clicks as a coordinator does.

Reading a question and making up one's mind may take as long as is left of the five minutes.

    pytest -m slow -s tests/browser/test_archive_review.py
"""

import time

import pytest
from django.urls import reverse
from playwright.sync_api import Page, expect

from surveys.importing.uploads import commit_upload, open_upload, store
from surveys.models import ProtocolVersion, ReviewStep, Step, Visit, VisitState
from tests.support.archives import STOPS, archive_csv, make_archive_program
from tests.support.hand import Hand

pytestmark = [pytest.mark.slow, pytest.mark.django_db(transaction=True)]

VISITS = 270
MOST_MINUTES = 5
REASON = "Checked against the old sheets."


@pytest.fixture
def imported(program, coordinator):
    """Nine years of 30 routes, on nights too windy and too cold, listened to for too short a time:
    every third visit and more has a question."""
    make_archive_program(program, routes=30)
    ProtocolVersion.objects.update(
        max_beaufort=1, listening_time_s=360, latest_end_after_sunset_min=150
    )
    content = archive_csv(VISITS * STOPS, routes=30)
    row = store(coordinator, file_name="1999-2001.csv", content=content)
    assert commit_upload(coordinator, open_upload(coordinator, row.pk)).visits == VISITS
    return row


def resolve_every_question(page: Page, hand: Hand) -> int:
    """One rule after the other, with one reason for all its visits. How many there were."""
    asked = page.locator("section").filter(has=page.get_by_role("button", name="Resolve"))
    rules = asked.count()
    for left in reversed(range(rules)):
        one = asked.first
        hand.click(one.get_by_label("Counts"))
        hand.type(one.get_by_label("Reason"), REASON)
        hand.click(one.get_by_role("button", name="Resolve"))
        expect(asked).to_have_count(left)
    return rules


def test_an_archive_is_reviewed_in_five_minutes(program, coordinator, signed_in, imported):
    page, hand = signed_in(coordinator), Hand()
    page.goto(reverse("web:review", args=[program.slug]))
    begun = time.monotonic()
    hand.click(page.get_by_role("link", name="Review many"))
    expect(page.get_by_role("heading", name="Review many")).to_be_visible()
    asked = set(Visit.objects.filter(findings__severity="query").values_list("pk", flat=True))
    assert len(asked) > VISITS / 3
    rules = resolve_every_question(page, hand)
    assert rules >= 3
    hand.click(page.get_by_role("button", name=f"Accept {VISITS} visits"))
    expect(page.get_by_text(f"{VISITS} visits are accepted.")).to_be_visible()
    taken = time.monotonic() - begun
    print(  # noqa: T201
        f"\n{VISITS} visits, {len(asked)} with questions of {rules} rules: {hand.clicks} clicks, "
        f"{hand.keys} keys; {taken:.0f} s by script, {hand.seconds:.0f} s by hand"
    )
    assert set(Visit.objects.values_list("state", flat=True)) == {VisitState.ACCEPTED}
    # Each visit's own history says why.
    told = ReviewStep.objects.filter(step=Step.SETTLED, note__contains=REASON)
    assert set(told.values_list("visit", flat=True)) == asked
    assert taken + hand.seconds < MOST_MINUTES * 60
