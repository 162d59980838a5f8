"""The file that says whether the site is open: what is read out of it, and what people are told."""

import datetime as dt

import pytest

from surveys.site_mode import Mode, SiteMode, read, write

NOW = dt.datetime(2024, 4, 16, 2, 0, tzinfo=dt.UTC)


@pytest.mark.parametrize("until", [None, NOW])
@pytest.mark.parametrize("mode", Mode)
def test_what_is_written_is_read(tmp_path, mode, until):
    file = tmp_path / "new" / "mode.json"
    write(file, SiteMode(mode, until))
    assert read(file) == (SiteMode() if mode is Mode.OPEN else SiteMode(mode, until))
    write(file, SiteMode())
    assert read(file) == SiteMode()
    assert list(tmp_path.rglob("*.*")) == []


@pytest.mark.parametrize(
    "content", [b"", b"{}", b"closed", b"\xff", b'{"mode": "shut", "until": null}', b"[]"]
)
def test_a_file_that_cannot_be_read_keeps_the_site_closed(tmp_path, content):
    file = tmp_path / "mode.json"
    file.write_bytes(content)
    assert read(file).mode is Mode.MAINTENANCE


@pytest.mark.parametrize(
    ("minutes", "seconds", "words"),
    [
        (None, 300, "Try again in a few minutes."),
        (-5, 300, "Try again in a few minutes."),
        (0.2, 60, "Try again in about 1 minute."),
        (20, 1200, "Try again in about 20 minutes."),
        (600, 3600, "Try again in about 600 minutes."),
    ],
)
def test_how_long_to_wait(minutes, seconds, words):
    until = None if minutes is None else NOW + dt.timedelta(minutes=minutes)
    mode = SiteMode(Mode.MAINTENANCE, until)
    assert mode.wait_s(NOW) == seconds
    assert mode.words(NOW).endswith(words)
