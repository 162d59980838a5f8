"""Data packages checked by frictionless, the reference implementation."""

import csv
from pathlib import Path

import frictionless


def validate(descriptor: Path) -> frictionless.Report:
    """Its report. It raises the limit of the csv module for the whole process, and other tests
    need the limit that the program runs with."""
    limit = csv.field_size_limit()
    try:
        return frictionless.validate(descriptor)
    finally:
        csv.field_size_limit(limit)
