"""The examples that a page shows to programrs, run as they stand there.

R runs with base packages only and Python without what is installed beside it, because that is
what the pages say they need.
"""

import csv
import html
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

_EXAMPLE = re.compile(r'<pre[^>]*aria-label="[^"]*\b(R|Python)"[^>]*><code>(.*?)</code>', re.DOTALL)
# Runs the example, prints what it would print, and keeps the value of its last line.
_KEEP = """
last <- source("example.R", print.eval = TRUE)$value
write.csv(last, "last.csv", row.names = FALSE, na = "")
"""


def require_r() -> None:
    if shutil.which("Rscript") is None:
        assert "CI" not in os.environ, "R must be there in continuous integration"
        pytest.skip("R (Rscript) is not installed; deploy/test installs it")


def examples_in(page: str, language: str) -> list[str]:
    """The text of the examples of a page in `R` or `Python`, as a reader copies it."""
    return [html.unescape(text) for name, text in _EXAMPLE.findall(page) if name == language]


def run_r(example: str, folder: Path) -> tuple[str, list[dict[str, str]]]:
    """What the example prints, and the rows of the data frame that its last line gives."""
    (folder / "example.R").write_text(example, "utf-8")
    (folder / "keep.R").write_text(_KEEP, "utf-8")
    environment = {**os.environ, "R_DEFAULT_PACKAGES": "utils,stats"}
    printed = _run(["Rscript", "--vanilla", "keep.R"], folder, environment)
    with (folder / "last.csv").open(encoding="utf-8", newline="") as file:
        return printed, list(csv.DictReader(file))


def run_python(example: str, folder: Path) -> str:
    """What the example prints."""
    (folder / "example.py").write_text(example, "utf-8")
    return _run([sys.executable, "-I", "-S", "example.py"], folder, dict(os.environ))


def _run(command: list[str], folder: Path, environment: dict[str, str]) -> str:
    done = subprocess.run(
        command, cwd=folder, env=environment, capture_output=True, text=True, timeout=300
    )
    assert done.returncode == 0, f"{' '.join(command)} failed:\n{done.stdout}\n{done.stderr}"
    return done.stdout
