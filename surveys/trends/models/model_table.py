"""Models side by side, by AIC."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from surveys.trends import estimates
from surveys.trends.numerics.arrays import FloatArray


class FittedModel(Protocol):
    """What a model must tell to be compared."""

    @property
    def log_likelihood(self) -> float: ...
    @property
    def aic(self) -> float: ...
    @property
    def rows(self) -> int: ...
    @property
    def flags(self) -> tuple[str, ...]: ...
    @property
    def coefficients(self) -> FloatArray: ...


@dataclass(frozen=True, kw_only=True)
class ModelRow:
    """One model. ``delta`` is its AIC above the best, ``weight`` its Akaike weight; both None when
    it could not be fitted or did not settle."""

    name: str
    parameters: int
    log_likelihood: float | None
    aic: float | None
    delta: float | None
    weight: float | None
    flags: tuple[str, ...]


def model_table(models: Mapping[str, FittedModel]) -> tuple[ModelRow, ...]:
    """Models of the same data side by side, by AIC.

    Parameters
    ----------
    models
        ModelFit models by name.

    Returns
    -------
    tuple of ModelRow
        Best first; models without a usable fit come last, with neither delta nor weight. Weights
        are exp(-delta / 2) over their sum.

    Raises
    ------
    ValueError
        When the models used different rows.

    References
    ----------
    Burnham & Anderson 2002, Model Selection and Multimodel Inference, sec. 2.9.

    Examples
    --------
    >>> import numpy as np
    >>> from surveys.trends import fit_occupancy
    >>> rng = np.random.default_rng(1)
    >>> fish = np.repeat([0.0, 1.0], 100)
    >>> occupied = rng.random(200) < np.where(fish > 0, 0.2, 0.8)
    >>> heard = occupied[:, None] & (rng.random((200, 3)) < 0.5)
    >>> table = model_table(
    ...     {
    ...         "constant": fit_occupancy(heard),
    ...         "fish": fit_occupancy(heard, occupancy={"fish": fish}),
    ...     }
    ... )
    >>> [(row.name, row.parameters) for row in table]
    [('fish', 3), ('constant', 2)]
    """
    if len({model.rows for model in models.values()}) > 1:
        used = ", ".join(f"{name}: {model.rows}" for name, model in models.items())
        raise ValueError(f"models must be fitted to the same rows to be compared ({used})")
    usable = {name: model.aic for name, model in models.items() if _is_usable(model)}
    best = min(usable.values(), default=0.0)
    total = sum(float(np.exp((best - aic) / 2)) for aic in usable.values())
    rows = []
    for name, model in models.items():
        delta = usable[name] - best if name in usable else None
        fitted = bool(np.isfinite(model.aic))
        rows.append(
            ModelRow(
                name=name,
                parameters=len(model.coefficients),
                log_likelihood=model.log_likelihood if fitted else None,
                aic=model.aic if fitted else None,
                delta=delta,
                weight=None if delta is None else float(np.exp(-delta / 2)) / total,
                flags=model.flags,
            )
        )
    return tuple(sorted(rows, key=lambda row: (row.delta is None, row.delta or 0.0)))


def _is_usable(model: FittedModel) -> bool:
    return bool(np.isfinite(model.aic)) and estimates.DID_NOT_CONVERGE not in model.flags
