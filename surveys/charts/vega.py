"""Altair, imported at the first picture and not with the site: most pages draw none."""

from collections.abc import Callable
from functools import wraps
from importlib import import_module
from typing import Any


class _Altair:
    def __getattr__(self, name: str) -> Any:
        return getattr(import_module("altair"), name)


alt: Any = _Altair()


def unchecked(draw: Callable[..., Any]) -> Callable[..., Any]:
    """Validating every part against the Vega-Lite schema takes longer than drawing. A test
    validates whole specifications instead."""

    @wraps(draw)
    def drawn(*args: Any, **kwargs: Any) -> Any:
        with alt.utils.schemapi.debug_mode(False):
            return draw(*args, **kwargs)

    return drawn
