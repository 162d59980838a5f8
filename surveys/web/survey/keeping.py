"""What follows from a route and the date alone is worked out for one phone and kept for the others.

Kept under all that it follows from, the software that worked it out included, so that it never has
to be forgotten.
"""

import hashlib
from collections.abc import Callable
from functools import cache as once
from importlib.metadata import version
from pathlib import Path
from types import ModuleType
from typing import TypeVar

from django.core.cache import cache

Value = TypeVar("Value")

KEPT_S = 24 * 3600


def kept(
    work: Callable[[], Value],
    asked: object,
    *,
    modules: tuple[ModuleType, ...],
    library: str,
) -> Value:
    """What `work` gives, which follows from the `repr` of `asked`, these modules and a library."""
    following = repr((_software(modules, library), asked))
    key = f"kept:{hashlib.sha256(following.encode()).hexdigest()}"
    value: Value | None = cache.get(key)
    if value is None:
        value = work()
        cache.set(key, value, KEPT_S)
    return value


@once
def _software(modules: tuple[ModuleType, ...], library: str) -> str:
    sources = "".join(Path(str(module.__file__)).read_text() for module in modules)
    return f"{hashlib.sha256(sources.encode()).hexdigest()} {library} {version(library)}"
