"""Firefox and WebKit as Debian ships them, at a server that can go away."""

import os
import subprocess
from collections.abc import Iterator

import pytest

from tests.browser.conftest import PATIENCE_MS, PHONE
from tests.browser.survey.engines.hands import Hand
from tests.browser.survey.sync.wire import Wire
from tests.support import firefox
from tests.support.webkit import driver as webkit

# Too far from the first stop for the phone to see by itself that it has arrived.
PLACE = {"latitude": 43.0751, "longitude": -89.4012}
ACCURACY_M = 8
PATIENCE_S = PATIENCE_MS / 1000


@pytest.fixture
def wire(live_server) -> Iterator[Wire]:
    made = Wire(live_server.url)
    yield made
    made.close()


@pytest.fixture(scope="session")
def display() -> Iterator[str]:
    """A screen that nobody sees: WebKitGTK draws on nothing less."""
    told, tells = os.pipe()
    command = ["Xvfb", "-displayfd", str(tells), "-screen", "0", "800x900x24", "-nolisten", "tcp"]
    with subprocess.Popen(command, pass_fds=[tells], stderr=subprocess.DEVNULL) as screen:
        os.close(tells)
        with os.fdopen(told) as number:
            yield f":{number.readline().strip()}"
        screen.terminate()


@pytest.fixture
def firefox_hand(wire, tmp_path) -> Iterator[Hand]:
    with firefox.driving(tmp_path / "firefox", patience_s=PATIENCE_S) as window:
        window.is_phone(wire.url, PHONE, {**PLACE, "accuracy": ACCURACY_M})
        yield Hand(window, wire.url)


@pytest.fixture
def webkit_hand(display, wire, tmp_path) -> Iterator[Hand]:
    arguments = [str(one) for one in (tmp_path / "webkit", *PLACE.values(), ACCURACY_M)]
    with webkit.driving(arguments, display=display, patience_s=PATIENCE_S) as window:
        yield Hand(window, wire.url)


@pytest.fixture(params=["firefox", "webkit"])
def hand(request) -> Hand:
    return request.getfixturevalue(f"{request.param}_hand")
