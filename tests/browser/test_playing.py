"""Recordings on the page of review, in Chromium; Firefox and WebKit play them after an evening."""

import pytest

from tests.browser.survey.engines.playing import (
    HEARD,
    is_heard,
    player_of,
    recordings_of_all_kinds,
)
from tests.support.builders import make_checklist, make_route
from tests.support.sheets import make_submitted
from tests.support.sounds import keep, sound

pytestmark = pytest.mark.django_db(transaction=True)
# Where the browser's player has its button.
BUTTON = {"x": 22, "y": 24}


def test_every_kind_of_recording_plays_and_what_cannot_is_said(signed_in, coordinator, observer):
    make_checklist(observer.program)
    visit = make_submitted(observer, make_route(observer.program))
    recordings = recordings_of_all_kinds(observer, visit)
    broken = keep(observer, visit, sound(5000))
    page = signed_in(coordinator)
    page.goto(f"/{observer.program.slug}/review/{visit.pk}/")
    for recording in recordings:
        page.locator(player_of(recording)).click(position=BUTTON)
        is_heard(recording, page.evaluate(HEARD, player_of(recording)))
    note = page.get_by_text("This browser cannot play the recording, or the connection failed.")
    assert note.filter(visible=True).count() == 0
    page.locator(player_of(broken)).click(position=BUTTON)
    row = page.locator(".recording").filter(has=page.locator(f"#recording-{broken.pk}"))
    row.get_by_text("This browser cannot play the recording").wait_for()
    assert note.filter(visible=True).count() == 1
