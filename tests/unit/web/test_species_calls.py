"""How the pitch of a call is written."""

import pytest

from surveys.web.templatetags.surveys import pitch


@pytest.mark.parametrize(
    ("stored", "shown"),
    [
        ("500-1500", "500–1,500"),
        ("200-300 + 1260-1540", "200–300 and 1,260–1,540"),
    ],
)
def test_bands_of_pitch(stored, shown):
    assert pitch(stored) == shown
