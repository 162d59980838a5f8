"""Data packages checked by frictionless, the reference implementation.

Its import raises the limit of the csv module for the whole process; other tests need the limit
that the program runs with.
"""

import csv
from pathlib import Path

_LIMIT = csv.field_size_limit()

import frictionless  # noqa: E402 - between taking the limit and giving it back

csv.field_size_limit(_LIMIT)


def validate(descriptor: Path) -> frictionless.Report:
    return frictionless.validate(descriptor)
