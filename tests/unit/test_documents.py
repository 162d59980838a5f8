"""README and the guides of contributors and operators name files that are there."""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
FOLDERS = [ROOT, ROOT / "surveys", ROOT / "surveys" / "protocol"]
TOP = {path.name for path in ROOT.iterdir()} - {"var"}  # what lies there is made on the way
PATH = re.compile(r"(?<![\w/.:<-])(?:[\w.-]+/)+[\w.-]*(?![\w/<])")
AN_EXAMPLE = "surveys/guide/pages/LANGUAGE/PAGE.md"


@pytest.mark.parametrize(
    ("name", "at_least"),
    [
        ("DEVELOPERS.md", 31),
        ("README.md", 31),
        ("deploy/production.md", 4),
        ("deploy/threats.md", 20),
    ],
)
def test_every_path_is_there(name, at_least):
    found = set(PATH.findall((ROOT / name).read_text("utf-8"))) - {AN_EXAMPLE}
    paths = [p for p in found if p.partition("/")[0] in TOP or p.endswith(".py")]
    assert len(paths) >= at_least
    assert [p for p in paths if not any((folder / p).exists() for folder in FOLDERS)] == []
