"""A publication made from rows of the database: its archive is a valid Data Package, and its
results are worked out again from it with nothing else at hand."""

import csv
import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from surveys.publishing.formats import datapackage
from tests.support.datapackages import validate
from tests.support.frozen import small_frozen
from tests.support.joint_entries import treefrog_program

pytestmark = pytest.mark.django_db

# Runs the script as its own main program, then says which packages it brought in.
AND_TELL = """
import runpy, sys
sys.argv = [sys.argv[1]]
sys.path[0] = sys.argv[0].rpartition("/")[0]
try:
    runpy.run_path(sys.argv[0], run_name="__main__")
finally:
    print("imported:", *sorted({name.partition(".")[0] for name in sys.modules}))
"""


@pytest.fixture
def unpacked(tmp_path: Path) -> Path:
    datapackage.write(small_frozen(tmp_path), tmp_path / "tables.zip")
    with zipfile.ZipFile(tmp_path / "tables.zip") as archive:
        archive.extractall(tmp_path / "unpacked")
    return tmp_path / "unpacked"


def _run(*arguments: str, folder: Path) -> subprocess.CompletedProcess[str]:
    """In an environment that knows neither Django's settings nor a database nor this code."""
    return subprocess.run(
        [sys.executable, *arguments],
        cwd=folder,
        env={"PATH": os.environ["PATH"], "OPENBLAS_NUM_THREADS": "1"},
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )


def test_it_is_valid_and_its_results_follow_from_its_rows(unpacked: Path) -> None:
    report = validate(unpacked / "datapackage.json")
    assert report.flatten(["title", "type", "message"]) == []
    done = _run("-c", AND_TELL, "reproduce/reproduce.py", folder=unpacked)
    assert done.returncode == 0, done.stdout + done.stderr
    lines = dict(line.split(": ", 1) for line in done.stdout.splitlines() if ": " in line)
    for table in ("yearly", "occupancy", "trends"):
        with (unpacked / f"data/{table}.csv").open(encoding="utf-8", newline="") as file:
            rows = len(list(csv.reader(file))) - 1
        assert rows > 0
        assert lines[table] == f"{rows} rows, largest difference 0.0e+00"
    imported = set(lines["imported"].split())
    assert {"numpy", "scipy", "surveys"} <= imported
    assert not imported & {"django", "psycopg", "accounts", "deploy"}


def test_changed_tables_are_noticed(unpacked: Path) -> None:
    """Stops gone silent in the rows; a year, a number and a line changed in the results."""
    was, now = b"crucifer,2,false,false,,2,\r\n", b"crucifer,0,,,,,\r\n"
    _change(unpacked / "data/calls.csv", was, now, times=-1)
    _change(unpacked / "data/yearly.csv", b",2021,", b",2020,")
    _change(unpacked / "data/occupancy.csv", b",0.", b",x0.")
    trends = unpacked / "data/trends.csv"
    trends.write_bytes(b"".join(trends.read_bytes().splitlines(keepends=True)[:-1]))
    done = _run("reproduce/reproduce.py", folder=unpacked)
    assert done.returncode == 1, done.stdout + done.stderr
    yearly, rest = done.stdout.split("\noccupancy: ", 1)
    assert "row 1, season_year: '2020' published, 2021" in yearly
    assert "stops_detected: '" in yearly
    assert "'x0." in rest
    assert "5 rows published, 6 worked out" in rest
    assert "do not follow" in rest


def _change(path: Path, was: bytes, now: bytes, *, times: int = 1) -> None:
    content = path.read_bytes()
    assert was in content
    path.write_bytes(content.replace(was, now, times))


def test_joint_entries_are_worked_out_again(tmp_path: Path) -> None:
    """Half of one year's records of a treefrog are records of its joint entry: what is missing,
    what is told and which year has no share follow from the published rows alone."""
    frozen = small_frozen(tmp_path, program=treefrog_program(unnamed=0.5).program)
    datapackage.write(frozen, tmp_path / "tables.zip")
    folder = tmp_path / "unpacked"
    with zipfile.ZipFile(tmp_path / "tables.zip") as archive:
        archive.extractall(folder)
    done = _run("reproduce/reproduce.py", folder=folder)
    assert done.returncode == 0, done.stdout + done.stderr
    # A false zero: what the joint entry left open becomes silence.
    was, now = (b"Dryophytes versicolor,%b,,,,,\r\n" % index for index in (b"", b"0"))
    _change(folder / "data/calls.csv", was, now, times=-1)
    done = _run("reproduce/reproduce.py", folder=folder)
    assert done.returncode == 1, done.stdout + done.stderr
    assert "periods: '" in done.stdout
