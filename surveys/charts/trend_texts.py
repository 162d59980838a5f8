"""The sentences about a trend: each is one text, so that a translation can put it in its own order.

`{sites}` is filled with "stops" or "routes", `{start}` and `{end}` with shares in percent.
"""

from __future__ import annotations

from dataclasses import dataclass

from surveys.language import gettext_noop as _


@dataclass(frozen=True, kw_only=True)
class ChangeTexts:
    """What became of a share; `fell_from` and `rose_from` tell where the line begins and ends."""

    unclear: str
    fell: str
    fell_from: str
    rose: str
    rose_from: str


OCCUPIED = ChangeTexts(
    unclear=_(
        "{name}: between {first} and {last} there is no clear change in the share of occupied "
        "{sites}: {change}% per year (95% interval: {low} to {high}%). It may have fallen or "
        "risen; uncertain does not mean stable."
    ),
    fell=_(
        "{name}: between {first} and {last} the share of occupied {sites} fell by {change}% per "
        "year (95% interval: {low} to {high}%)."
    ),
    fell_from=_(
        "{name}: between {first} and {last} the share of occupied {sites} fell by {change}% per "
        "year (95% interval: {low} to {high}%), from {start} to {end}."
    ),
    rose=_(
        "{name}: between {first} and {last} the share of occupied {sites} rose by {change}% per "
        "year (95% interval: {low} to {high}%)."
    ),
    rose_from=_(
        "{name}: between {first} and {last} the share of occupied {sites} rose by {change}% per "
        "year (95% interval: {low} to {high}%), from {start} to {end}."
    ),
)

HEARD = ChangeTexts(
    unclear=_(
        "Between {first} and {last} there is no clear change in the uncorrected share of {sites} "
        "where it was heard: {change}% per year (95% interval: {low} to {high}%). It may have "
        "fallen or risen; uncertain does not mean stable."
    ),
    fell=_(
        "Between {first} and {last} the uncorrected share of {sites} where it was heard fell by "
        "{change}% per year (95% interval: {low} to {high}%)."
    ),
    fell_from=_(
        "Between {first} and {last} the uncorrected share of {sites} where it was heard fell by "
        "{change}% per year (95% interval: {low} to {high}%), from {start} to {end}."
    ),
    rose=_(
        "Between {first} and {last} the uncorrected share of {sites} where it was heard rose by "
        "{change}% per year (95% interval: {low} to {high}%)."
    ),
    rose_from=_(
        "Between {first} and {last} the uncorrected share of {sites} where it was heard rose by "
        "{change}% per year (95% interval: {low} to {high}%), from {start} to {end}."
    ),
)
