"""How a fit prints: a short table of its numbers in place of its arrays.

``repr`` is the table as text; a notebook shows it as HTML. Intervals of coefficients are at 95%
by their standard errors; those of estimates are their own.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape

import numpy as np

from surveys.trends.estimates import FLAG_NAMES, Estimate
from surveys.trends.numerics.arrays import FloatArray

HEAD = ("", "estimate", "SE", "95% interval", "flags")
_DIGITS = 4


@dataclass(frozen=True, kw_only=True)
class PrintedRow:
    """One number of a fit; None for what is not known."""

    name: str
    value: float | None
    se: float | None
    low: float | None
    high: float | None
    flags: tuple[str, ...] = ()

    @property
    def cells(self) -> tuple[str, ...]:
        limits = "" if self.low is None and self.high is None else f"{_number(self.low)} to "
        return (
            self.name,
            _number(self.value),
            _number(self.se) if self.se is not None else "",
            f"{limits}{_number(self.high)}" if limits else "",
            _flag_names(self.flags),
        )


class PrintsAsTable:
    """A fit that prints as a table. A dataclass that inherits this has ``repr=False``."""

    def printed_title(self) -> str:
        """What was fitted, in a line."""
        raise NotImplementedError

    def printed_rows(self) -> Sequence[PrintedRow]:
        """Its numbers."""
        raise NotImplementedError

    def printed_flags(self) -> tuple[str, ...]:
        """What limits all of them."""
        return ()

    def __repr__(self) -> str:
        table = [HEAD, *(row.cells for row in self.printed_rows())]
        widths = [max(map(len, column)) for column in zip(*table, strict=True)]
        lines = [
            "  ".join(
                cell.rjust(width) if 0 < place < len(HEAD) - 1 else cell.ljust(width)
                for place, (cell, width) in enumerate(zip(row, widths, strict=True))
            ).rstrip()
            for row in table
        ]
        return "\n".join([self.printed_title(), *lines, *self._foot()])

    def _repr_html_(self) -> str:
        """For notebooks; every text is escaped."""
        head = "".join(f"<th>{escape(word)}</th>" for word in HEAD)
        body = "".join(
            "<tr><th>"
            + "</td><td>".join(map(escape, row.cells)).replace("</td><td>", "</th><td>", 1)
            + "</td></tr>"
            for row in self.printed_rows()
        )
        foot = "".join(f"<p>{escape(line)}</p>" for line in self._foot())
        return (
            f"<table><caption>{escape(self.printed_title())}</caption>"
            f"<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>{foot}"
        )

    def _foot(self) -> list[str]:
        flags = self.printed_flags()
        return [f"flags: {_flag_names(flags)}"] if flags else []


def estimate_rows(estimates: Iterable[Estimate]) -> list[PrintedRow]:
    """Estimates with their own intervals."""
    return [
        PrintedRow(
            name=one.name, value=one.value, se=one.se, low=one.low, high=one.high, flags=one.flags
        )
        for one in estimates
    ]


def coefficient_rows(
    names: Sequence[str], coefficients: FloatArray, covariance: FloatArray, *, quantile: float
) -> list[PrintedRow]:
    """Coefficients with limits at ``quantile`` standard errors; none where there is no error."""
    # A variance that rounding made negative is as little known as one that is missing.
    variances = np.diag(covariance)
    errors = np.sqrt(np.where(variances >= 0, variances, np.nan))
    rows = []
    for name, value, se in zip(names, coefficients.tolist(), errors.tolist(), strict=True):
        known = bool(np.isfinite(se))
        rows.append(
            PrintedRow(
                name=name,
                value=value if np.isfinite(value) else None,
                se=se if known else None,
                low=value - quantile * se if known else None,
                high=value + quantile * se if known else None,
            )
        )
    return rows


def _flag_names(flags: Iterable[str]) -> str:
    return "; ".join(FLAG_NAMES.get(flag, flag) for flag in flags)


def _number(value: float | None) -> str:
    return "?" if value is None else f"{value:.{_DIGITS}g}"
