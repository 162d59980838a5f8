"""A small run of the calibration (`deploy/calibrate` makes the whole), with bounds that can fail.

With the false alarms of the goal, a bound is passed by chance in fewer than one of 10,000 draws of
seeds (binomial law); the seeds are fixed. An interval that takes years as alike tells a change in
about 30 of 100 programs of the second case, one that takes routes together in 24 of the third.
"""

import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from scipy.stats import binom

from tests.published.trends.calibration.cases import CASES
from tests.published.trends.calibration.counting import count_case, estimator

PROGRAMS = 60
MORE_PROGRAMS = 150
BY_NAME = {case.name: case for case in CASES}
ROOT = Path(__file__).resolve().parents[3]
TABLE = ROOT / "tests/published/trends/calibration/table.md"
NULL = {
    "base": PROGRAMS,
    "years sd 0.5": PROGRAMS,
    "half the routes replaced, the first ones better": MORE_PROGRAMS,
    "detection falls with a declared break": PROGRAMS,
    "correlation 0.5, told by the line for it": PROGRAMS,
}


@pytest.mark.parametrize("name", NULL)
def test_no_change_is_seldom_told_as_one(name):
    case = BY_NAME[name]
    most = binom.isf(1e-4, NULL[name], case.alarms / 100)
    count = count_case(case, NULL[name])
    assert count.fell + count.rose <= most


def test_three_years_tell_nothing():
    assert count_case(BY_NAME["3 years, years sd 0.5"], 20).not_told == 20


def test_a_clear_fall_is_seen_and_its_size_is_held():
    case = BY_NAME["-5 % a year"]
    count = count_case(case, PROGRAMS)
    assert count.fell >= binom.ppf(1e-4, PROGRAMS, case.power / 100)
    assert count.held >= binom.ppf(1e-4, PROGRAMS, 0.95)


def test_the_method_page_tells_the_false_alarms_of_correlated_years_as_they_were_counted():
    page = Path(__file__).parents[3] / "surveys/guide/pages/trend-method.md"
    text = page.read_text("utf-8")
    assert "about one program in seven without any change" in text
    assert "By that line about one in twelve of them would be" in text
    table = (Path(__file__).parent / "calibration/table.md").read_text("utf-8")
    for name, share in (
        ("years sd 0.5, correlation 0.5", 1 / 7),
        ("correlation 0.5, told by the line for it", 1 / 12),
    ):
        row = next(line for line in table.splitlines() if f"| {name} |" in line)
        low, high = re.search(r"\(([0-9.]+) to ([0-9.]+)\)", row).groups()
        assert float(low) < 100 * share < float(high)


def test_the_interval_for_correlated_years_misses_more_true_changes():
    table = (Path(__file__).parent / "calibration/table.md").read_text("utf-8")

    def fell(name):
        row = next(line for line in table.splitlines() if line.startswith(f"| {name} |"))
        return float(row.split("|")[3])

    name = "-5 % a year, years sd 0.3"
    assert fell(f"{name}, told by the line for it") < fell(name) - 5


def test_the_command_counts_one_case_again_and_keeps_the_other_rows(tmp_path):
    target = shutil.copy(TABLE, tmp_path / "table.md")
    name = "3 years, years sd 0.5"
    options = ["--only", name, "--programs", "2", "--workers", "1", "--to", str(target)]
    subprocess.run([sys.executable, ROOT / "deploy/calibrate", *options], check=True)

    def rows(path):
        lines = path.read_text("utf-8").splitlines()
        return {line.split(" | ")[0]: line for line in lines if line.startswith("| ")}

    before, after = rows(TABLE), rows(target)
    changed = {case for case in before if after[case] != before[case]}
    assert (list(after), changed) == (list(before), {f"| {name}"})
    assert after[f"| {name}"].startswith(f"| {name} | 2 | 0.0 | 0.0 | 0.0 (")
    assert "| 100.0 |" in after[f"| {name}"]
    assert after[f"| {name}"].endswith(f"| {estimator()} |")
    assert "A row of other code than today's" in target.read_text("utf-8")


@pytest.mark.parametrize("name", ["table.md", "whole_program.md"])
def test_every_row_says_which_estimator_it_is_of(name):
    _, _, *rows = (line for line in TABLE.with_name(name).read_text().splitlines() if "|" in line)
    stamps = [row.split("|")[-2].strip() for row in rows]
    assert all(re.fullmatch("(commit )?[0-9a-f]{8}", stamp) for stamp in stamps)
    assert "no claim about today's" in TABLE.with_name(name).read_text()
