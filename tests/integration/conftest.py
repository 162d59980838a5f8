"""What the tests with a database share."""

import pytest

from surveys.fitting import refit
from surveys.trends import from_tables
from tests.support.fits import once


@pytest.fixture(autouse=True)
def _each_fit_made_once(monkeypatch: pytest.MonkeyPatch) -> None:
    for module in (refit, from_tables):
        monkeypatch.setattr(module, "analyze", once(module.analyze))
