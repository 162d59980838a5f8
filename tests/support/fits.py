"""Fits that tests share: the same listening periods give the same result, so that a fit that was
made in this run is not made again. The results are those of the estimators."""

import functools
import pickle
from collections.abc import Callable

from surveys.trends.species_result import SpeciesResult

_made: dict[bytes, SpeciesResult] = {}


def once(analyze: Callable[..., SpeciesResult]) -> Callable[..., SpeciesResult]:
    @functools.wraps(analyze)
    def remembered(*given: object, **options: object) -> SpeciesResult:
        key = pickle.dumps((given, options))
        if key not in _made:
            _made[key] = analyze(*given, **options)
        return _made[key]

    return remembered
