"""A stored fit is made again when what it depends on has changed, and only then."""

import pytest

from surveys.fitting import stamps
from surveys.fitting.checksums import software_checksum
from surveys.fitting.stamps import LIBRARIES, VERSION, software

SOURCE = '''
"""A module."""


class Model:
    """A model."""

    level = 0.95


def slope(x):
    """The slope."""
    return 2.0 * x
'''
LIBRARY = {"numpy": "2.2.0", "scipy": "1.15.0"}


def checksum(source, libraries=LIBRARY):
    return software_checksum({"slope.py": source}, libraries)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("    return", "    # Twice as far.\n    return"),
        ('"""A module."""', '"""Another text."""'),
        ('"""A model."""', '"""Another text."""'),
        ('    """The slope."""\n', ""),
        ("2.0 * x", "(2.0 * x)"),
        ("return 2.0 * x", "return (\n        2.0\n        * x\n    )"),
    ],
    ids=["comment", "module docstring", "class docstring", "no docstring", "brackets", "layout"],
)
def test_texts_for_readers_change_nothing(old, new):
    assert old in SOURCE
    assert checksum(SOURCE.replace(old, new)) == checksum(SOURCE)


@pytest.mark.parametrize(
    ("old", "new"),
    [("2.0 * x", "2.1 * x"), ("0.95", "0.9"), ("2.0 * x", "2.0 / x"), ("(x):", "(x, y=1):")],
    ids=["number", "class constant", "operator", "parameter"],
)
def test_code_changes_the_checksum(old, new):
    assert old in SOURCE
    assert checksum(SOURCE.replace(old, new)) != checksum(SOURCE)


@pytest.mark.parametrize("library", LIBRARIES)
def test_another_version_of_a_library_changes_the_checksum(library):
    assert checksum(SOURCE, LIBRARY | {library: "9.9"}) != checksum(SOURCE)


def test_another_file_changes_the_checksum():
    more = {"slope.py": SOURCE, "other.py": "x = 1"}
    assert software_checksum(more, LIBRARY) != checksum(SOURCE)


@pytest.mark.parametrize("library", LIBRARIES)
def test_stamp_of_the_installed_software_knows_its_libraries(library, monkeypatch):
    installed = software()
    monkeypatch.setattr(stamps, "version", lambda name: "9.9" if name == library else LIBRARY[name])
    changed = software.__wrapped__()
    monkeypatch.setattr(stamps, "version", LIBRARY.__getitem__)
    assert changed != software.__wrapped__()
    assert installed.startswith(f"{VERSION} (")


def test_stamp_covers_estimators_and_the_loading_of_their_input():
    names = {str(path.relative_to(stamps.ROOT)) for path in stamps._sources()}
    assert names > {
        "trends/analysis.py",
        "trends/histories.py",
        "trends/models/occupancy_likelihood.py",
        "trends/numerics/optimize.py",
        "fitting/histories.py",
        "seasons/joint_entries.py",
    }


def test_the_views_that_the_input_is_loaded_from_count_without_their_comments():
    def views(text: str) -> str:
        return software_checksum({"counted.sql": text}, LIBRARY)

    assert stamps.ROOT / "models" / "counted.sql" in stamps._sources()
    view = "-- What counts.\nCREATE VIEW counted AS\nSELECT id FROM visit WHERE counts;\n"
    assert views(view.replace("What counts.", "Another text.").replace("\n", "\n\n")) == views(view)
    assert views(view.replace("WHERE counts", "WHERE TRUE")) != views(view)
