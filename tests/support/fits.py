"""Fits that tests share: the same listening periods give the same result, so that a fit that was
made in this run is not made again. The results are those of the estimators."""

import functools
import pickle
from collections.abc import Callable

from surveys.trends.analysed import FitResult

_made: dict[bytes, FitResult] = {}


def once(analyse: Callable[..., FitResult]) -> Callable[..., FitResult]:
    @functools.wraps(analyse)
    def remembered(*given: object, **options: object) -> FitResult:
        key = pickle.dumps((given, options))
        if key not in _made:
            _made[key] = analyse(*given, **options)
        return _made[key]

    return remembered
