"""The table of OWASP ASVS names files and tests that are there, and leaves no number out."""

import re
from collections import Counter
from pathlib import Path

ROOT = Path(__file__).parents[2]
TEXT = (ROOT / "deploy/asvs.md").read_text("utf-8")
ROW = re.compile(r"^\| (\d+\.\d+\.\d+) \| (.+?) \| (.+?) \|(.*)\|$", re.MULTILINE)
ROWS = [[part.strip() for part in row] for row in ROW.findall(TEXT)]
STATES = {"met", "partly", "not met", "host", "n/a"}
# Rows of each chapter: requirements of levels 1 and 2 of ASVS 4.0.3, from memory.
OF_CHAPTER = {1: 38, 2: 53, 3: 18, 4: 9, 5: 30, 6: 13, 7: 12, 8: 15, 9: 7, 10: 5, 11: 8, 12: 15,
              13: 13, 14: 23}  # fmt: skip
NAMED = re.compile(r"`([\w./-]+/[\w./-]+|[\w.-]+\.(?:md|toml|json))(?:::(\w+))?`")


def test_each_requirement_has_one_row():
    numbers = [number for number, *_ in ROWS]
    assert len(numbers) == len(set(numbers))
    assert numbers == sorted(numbers, key=lambda number: [int(part) for part in number.split(".")])
    assert Counter(int(number.partition(".")[0]) for number in numbers) == OF_CHAPTER


def test_each_row_has_a_state_and_what_is_not_met_is_in_it():
    assert {state for _, _, state, _ in ROWS} == STATES


def test_what_is_named_is_there():
    missing = []
    for number, _, _, how in ROWS:
        for path, test in NAMED.findall(how):
            if path == "/etc/duskpool.env":
                continue
            file = ROOT / path
            if not file.exists() or (test and f"def {test}(" not in file.read_text("utf-8")):
                missing.append(f"{number}: {path} {test}")
    assert missing == []


def test_most_rows_name_something():
    """A sentence alone is a claim."""
    met = [how for _, _, state, how in ROWS if state == "met"]
    assert sum(bool(NAMED.search(how)) for how in met) > 0.75 * len(met)
