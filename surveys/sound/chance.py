"""Numbers by chance that follow from a seed, the same here and in a browser."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[np.float64]
Item = TypeVar("Item")

_GOLDEN = 0x9E3779B9


class Chance:
    """A generator of 32 bits with a golden-ratio step: the twin of `calls/chance.js`. What the
    methods draw depends on the order in which they are called. Nothing is kept secret by it."""

    def __init__(self, seed: int) -> None:
        self._state = seed % 2**32

    def take(self, number: int) -> Numbers:
        """So many numbers from 0 to below 1."""
        steps = np.arange(1, number + 1, dtype=np.uint64) * _GOLDEN + self._state
        state = (steps % 2**32).astype(np.uint32)
        self._state = (self._state + number * _GOLDEN) % 2**32
        mixed = (state ^ (state >> 16)) * np.uint32(0x21F0AAAD)
        mixed = (mixed ^ (mixed >> 15)) * np.uint32(0x735A2D97)
        taken: Numbers = (mixed ^ (mixed >> 15)) / 2.0**32
        return taken

    def next(self) -> float:
        return float(self.take(1)[0])

    def noise(self, number: int) -> Numbers:
        return 2 * self.take(number) - 1

    def normal(self) -> float:
        """The sum of twelve uniform numbers has nearly a normal distribution of spread 1."""
        return float(np.sum(self.take(12))) - 6

    def between(self, low: float, high: float) -> float:
        return low + (high - low) * self.next()

    def whole(self, below: int) -> int:
        """A whole number from 0."""
        return int(self.next() * below)

    def choice(self, items: Sequence[Item]) -> Item:
        return items[self.whole(len(items))]

    def shuffled(self, items: Iterable[Item]) -> list[Item]:
        left = list(items)
        for last in range(len(left) - 1, 0, -1):
            other = self.whole(last + 1)
            left[last], left[other] = left[other], left[last]
        return left

    def beta(self, right: int, wrong: int) -> float:
        """Of the Beta distribution with parameters `right + 1` and `wrong + 1`: that of the
        (right + 1)-th smallest of right + wrong + 1 uniform numbers (David and Nagaraja 2003,
        Order Statistics, section 2.1; from memory)."""
        return float(np.sort(self.take(right + wrong + 1))[right])
