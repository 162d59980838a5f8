"""The size of a file in words."""

from surveys.web.templatetags.surveys import file_size
from tests.support.for_each import for_each

SIZES = [(310, "310 bytes"), (1012, "1.0 KB"), (1536, "1.5 KB"), (5 * 1024**2, "5.0 MB")]


@for_each("case", SIZES, lambda case: case[1])
def test_no_count_of_bytes_needs_a_comma(case):
    count, words = case
    assert file_size(count).replace("\u00a0", " ") == words
