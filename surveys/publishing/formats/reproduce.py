"""The folder that works the published results out again: a script and all that it needs."""

from collections.abc import Iterator
from importlib.metadata import version
from pathlib import Path

import surveys
from surveys import language, trends

FOLDER = "reproduce"
_SCRIPT = Path(__file__).parent / "scripts" / "reproduce.py"
_PACKAGES = ("numpy", "scipy")


def reproduce_parts() -> Iterator[tuple[str, bytes | Path]]:
    """Names and contents: the script, the packages it wants, and the statistics it calls.

    These are copied as they are here, so that a publication can be worked out again when the
    software has long moved on.
    """
    yield f"{FOLDER}/reproduce.py", _SCRIPT
    wanted = "".join(f"{package}=={version(package)}\n" for package in _PACKAGES)
    yield f"{FOLDER}/requirements.txt", wanted.encode()
    yield f"{FOLDER}/surveys/__init__.py", Path(surveys.__file__)
    # The words of names and flags come through it.
    yield f"{FOLDER}/surveys/language.py", Path(language.__file__)
    root = Path(trends.__file__).parent
    for path in sorted(root.rglob("*.py")):
        yield f"{FOLDER}/surveys/trends/{path.relative_to(root)}", path


def how_to(software: str) -> str:
    """What to do with the folder, in words."""
    return (
        f"reproduce/ holds the statistics of {software} and a script that works out yearly, "
        "occupancy, trends and sensitivity from the other tables and compares. It needs Python "
        "3.11 or later, and no network once its two packages are there:"
    )


COMMANDS = (
    f"python -m pip install -r {FOLDER}/requirements.txt",
    f"python {FOLDER}/reproduce.py",
)
