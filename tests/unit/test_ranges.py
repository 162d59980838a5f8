"""Byte ranges by RFC 9110, section 14."""

import pytest

from surveys.ranges import (
    ByteRange,
    Unsatisfiable,
    read_range,
)


@pytest.mark.parametrize(
    ("header", "first", "last"),
    [
        # RFC 9110, 14.1.2: examples for a representation of 10,000 bytes.
        ("bytes=0-499", 0, 499),
        ("bytes=500-999", 500, 999),
        ("bytes=-500", 9500, 9999),
        ("bytes=9500-", 9500, 9999),
        # 14.1.2: a last position behind the end means the end; a suffix longer than the file
        # means all of it.
        ("bytes=9990-20000", 9990, 9999),
        ("bytes=-20000", 0, 9999),
        ("bytes=0-0", 0, 0),
        ("bytes=-1", 9999, 9999),
        # 14.1: range units are case-insensitive.
        ("Bytes = 0 - 9", 0, 9),
    ],
)
def test_ranges(header, first, last):
    assert read_range(header, 10_000) == ByteRange(first=first, last=last)


@pytest.mark.parametrize(
    "header",
    [
        "",
        "bytes",
        "bytes=",
        "bytes=-",
        "bytes=a-b",
        "bytes=5-2",  # 14.1.1: invalid when the last position is before the first
        "items=0-5",  # 14.2: an unknown unit is ignored
        "bytes=0-0,-1",  # 14.2: several ranges may be ignored
        "bytes=" + "9" * 30 + "-",
        "bytes=٣-٥",
    ],
)
def test_the_whole_answers(header):
    assert read_range(header, 10_000) is None


@pytest.mark.parametrize(
    ("header", "size"),
    [("bytes=10000-", 10_000), ("bytes=10000-10001", 10_000), ("bytes=-0", 10), ("bytes=-5", 0)],
)
def test_unsatisfiable(header, size):
    """RFC 9110, 15.5.17: no byte of it lies in the file."""
    with pytest.raises(Unsatisfiable):
        read_range(header, size)


def test_length():
    assert ByteRange(first=0, last=499).length == 500
