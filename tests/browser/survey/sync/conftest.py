"""Phones on a wire that can break, with the clock of today."""

from collections.abc import Callable, Iterator
from functools import partial

import pytest
from playwright.sync_api import BrowserContext

from accounts.models import Membership
from surveys.models import Species
from tests.browser.conftest import (
    CHROMIUM,
    FLAGS,
    PHONE,
)
from tests.browser.survey.sync.handset import SCRIPTS, Handset
from tests.browser.survey.sync.wire import Wire
from tests.support.builders import make_checklist

_OPTIONS = {
    "viewport": PHONE,
    "is_mobile": True,
    "has_touch": True,
    "locale": "en-US",
    "timezone_id": "America/Chicago",
}


@pytest.fixture(scope="session")
def whole_wire(live_server) -> Iterator[Wire]:
    """At one address in the whole run, so that kept phones have the screen from it."""
    made = Wire(live_server.url)
    yield made
    made.close()


@pytest.fixture
def wire(whole_wire) -> Iterator[Wire]:
    yield whole_wire
    whole_wire.heal()
    whole_wire.drop_held()


@pytest.fixture
def checklist(program) -> list[Species]:
    return make_checklist(program, "Pseudacris crucifer", "Lithobates sylvaticus")


@pytest.fixture
def open_phone(browser, wire, tmp_path, kept_phones) -> Iterator[Callable[..., Handset]]:
    """A phone of a member. One that is `new` has no screen of other tests, one that is `killable`
    a browser and a disk of its own."""
    opened: list[Handset] = []
    options = {"base_url": wire.url, **_OPTIONS}

    def scripted(launch: Callable[[], BrowserContext]) -> Callable[[], BrowserContext]:
        def launched() -> BrowserContext:
            context = launch()
            for script in SCRIPTS:
                context.add_init_script(script)
            return context

        return launched

    def make(member: Membership, *, new: bool = False, killable: bool = False) -> Handset:
        folder, close = None, BrowserContext.close
        if killable:
            folder = tmp_path / f"phone-{len(opened)}"
            launch = partial(
                browser.browser_type.launch_persistent_context,
                folder,
                executable_path=CHROMIUM,
                args=FLAGS,
                **options,
            )
            launch = scripted(launch)
        elif new:
            launch = scripted(partial(browser.new_context, **options))
        else:
            name = f"wire {len(opened)}"
            launch = partial(kept_phones.take, browser, name, scripts=SCRIPTS, **options)
            close = kept_phones.lay_down
        handset = Handset(launch, close=close, member=member, server=wire.url, folder=folder)
        opened.append(handset)
        return handset

    yield make
    for handset in opened:
        handset.close()
