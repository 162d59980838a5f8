"""Sound as numbers: one channel of samples between −1 and 1, at one rate."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

# Twice the highest pitch that is shown: frogs and toads of the catalog call below 6 kHz.
RATE_HZ = 16_000

Samples = NDArray[np.float32]


@dataclass(frozen=True, kw_only=True)
class Wave:
    """`samples` at RATE_HZ. `cut` says that the recording went on and was not read to its end."""

    samples: Samples
    cut: bool = False

    @property
    def seconds(self) -> float:
        """Length.

        >>> Wave(samples=np.zeros(8000, np.float32)).seconds
        0.5
        """
        return self.samples.size / RATE_HZ

    def between(self, begin_s: float, end_s: float) -> Wave:
        """The part from `begin_s` to `end_s`, in seconds from the beginning.

        >>> Wave(samples=np.zeros(32000, np.float32)).between(0.5, 9).seconds
        1.5
        """
        first, last = (max(0, round(at * RATE_HZ)) for at in (begin_s, end_s))
        return Wave(samples=self.samples[first:last])
