"""Country codes."""

import re

import pytest
from django.core.exceptions import ValidationError

from surveys.models.program import check_country_code
from surveys.protocol.countries import countries


def test_codes_are_those_of_the_standard():
    """ISO 3166-1 has 249 officially assigned codes (ISO 3166 Maintenance Agency, from memory)."""
    assert len(countries()) == 249
    assert all(re.fullmatch("[A-Z]{2}", code) and name for code, name in countries().items())
    assert countries()["US"] == "United States"


@pytest.mark.parametrize("wrong", ["us", "USA", "XX", "ZZ", "UK", " U"])
def test_what_is_no_code_is_refused_in_words(wrong):
    with pytest.raises(ValidationError, match="two capital letters"):
        check_country_code(wrong)


def test_those_that_are_pass():
    check_country_code("DE")
