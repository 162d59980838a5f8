"""Fits that tests share: the same listening periods give the same result, so that a fit that was
made in this run is not made again. The results are those of the estimators."""

import functools
import pickle
from collections.abc import Callable

from surveys.trends.analyzed import FitResult

_made: dict[bytes, FitResult] = {}


def once(analyze: Callable[..., FitResult]) -> Callable[..., FitResult]:
    @functools.wraps(analyze)
    def remembered(*given: object, **options: object) -> FitResult:
        key = pickle.dumps((given, options))
        if key not in _made:
            _made[key] = analyze(*given, **options)
        return _made[key]

    return remembered
