"""Phones on a wire that can break, with the clock of today."""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext

from accounts.models import Membership
from surveys.models import Species
from tests.browser.conftest import (
    CHROMIUM,
    FLAGS,
    PHONE,
)
from tests.browser.survey.sync.handset import Handset
from tests.browser.survey.sync.wire import Wire
from tests.support.builders import make_checklist

_OPTIONS = {
    "viewport": PHONE,
    "is_mobile": True,
    "has_touch": True,
    "locale": "en-US",
    "timezone_id": "America/Chicago",
}


@pytest.fixture
def wire(live_server) -> Iterator[Wire]:
    made = Wire(live_server.url)
    yield made
    made.close()


@pytest.fixture
def checklist(program) -> list[Species]:
    return make_checklist(program, "Pseudacris crucifer", "Lithobates sylvaticus")


@pytest.fixture
def open_phone(browser, wire, tmp_path) -> Iterator[Callable[..., Handset]]:
    """A phone of a member; one that is `killable` has a browser and a disk of its own."""
    opened: list[Handset] = []

    def launcher(folder: Path | None) -> Callable[[], BrowserContext]:
        if folder is None:
            return lambda: browser.new_context(base_url=wire.url, **_OPTIONS)
        return lambda: browser.browser_type.launch_persistent_context(
            folder, executable_path=CHROMIUM, args=FLAGS, base_url=wire.url, **_OPTIONS
        )

    def make(member: Membership, *, killable: bool = False) -> Handset:
        folder = tmp_path / f"phone-{len(opened)}" if killable else None
        handset = Handset(launcher(folder), member=member, server=wire.url, folder=folder)
        opened.append(handset)
        return handset

    yield make
    for handset in opened:
        handset.close()
