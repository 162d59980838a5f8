"""Devices in the list of where somebody is signed in."""

import pytest

from surveys.web.templatetags.surveys import browser_and_system

_WINDOWS = "Mozilla/5.0 (Windows NT 10.0; Win64; x64)"
_WEBKIT = "AppleWebKit/537.36 (KHTML, like Gecko)"


@pytest.mark.parametrize(
    ("sent", "shown"),
    [
        (f"{_WINDOWS} {_WEBKIT} Chrome/140.0.0.0 Safari/537.36", "Chrome, Windows"),
        (f"{_WINDOWS} {_WEBKIT} Chrome/140.0.0.0 Safari/537.36 Edg/140.0.0.0", "Edge, Windows"),
        (
            "Mozilla/5.0 (X11; Linux x86_64; rv:140.0) Gecko/20100101 Firefox/140.0",
            "Firefox, Linux",
        ),
        (
            f"Mozilla/5.0 (Linux; Android 15; Phone) {_WEBKIT} Chrome/140.0.0.0 Mobile",
            "Chrome, Android",
        ),
        (
            "Mozilla/5.0 (iPhone; CPU iPhone OS 18_5 like Mac OS X) Version/18.5 Safari/604.1",
            "Safari, iPhone",
        ),
        ("a-script/1.0", "a-script/1.0"),
        ("", ""),
    ],
)
def test_browser_and_system(sent, shown):
    assert browser_and_system(sent) == shown
