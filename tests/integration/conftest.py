"""What the tests with a database share."""

import pytest


@pytest.fixture(autouse=True, scope="module")
def _each_fit_made_once(fits_made_once: None) -> None:
    """No test of these needs a fit to be made again."""
