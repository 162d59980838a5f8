"""What the tests with a database share."""

from collections.abc import Iterator

import pytest

from tests.support.fits import each_fit_made_once


@pytest.fixture(autouse=True)
def _shared_fits() -> Iterator[None]:
    with each_fit_made_once():
        yield
