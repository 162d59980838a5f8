"""How often an observer missed a species, wrote down one that others did not hear, or gave another
call index, with credible intervals. Imports no Django."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from scipy.special import betaincinv

LEVEL = 0.95


@dataclass(frozen=True, kw_only=True)
class Written:
    """One species at one stop, as others heard it and as the observer wrote it down.

    `there` is whether the others heard it, None where that says nothing. `heard_index` is their
    call index and `index` the observer's, 1 to 3; None where there is none, or, of the others,
    where they differ.
    """

    species: str
    there: bool | None
    heard_index: int | None = None
    index: int | None = None


@dataclass(frozen=True, kw_only=True)
class Share:
    """`part` of `whole`, and between what limits the rate behind them lies."""

    part: int
    whole: int

    @property
    def limits(self) -> tuple[float, float]:
        """A 95 % credible interval with the prior of Jeffreys; the ends of the range where all or
        none are (Brown, Cai & DasGupta 2001, Statistical Science 16:101-133)."""
        below = (1 - LEVEL) / 2
        # Quantiles of the beta distribution. Importing scipy.stats takes every process long.
        shape = self.part + 0.5, self.whole - self.part + 0.5
        low = 0.0 if self.part == 0 else float(betaincinv(*shape, below))
        high = 1.0 if self.part == self.whole else float(betaincinv(*shape, 1 - below))
        return low, high


@dataclass(frozen=True, kw_only=True)
class HearingErrors:
    """`missed` of the calls that others heard, `not_heard` of those that the observer wrote down
    and others listened for, `other_index` of those that both heard and gave an index."""

    missed: Share
    not_heard: Share
    other_index: Share


def hearing_errors(calls: Iterable[Written]) -> HearingErrors:
    """The three shares over calls of one observer.

    Parameters
    ----------
    calls
        Species by species and stop by stop, those that neither side heard left out.

    Examples
    --------
    >>> calls = [
    ...     Written(species="peeper", there=True, heard_index=3, index=2),
    ...     Written(species="toad", there=True, heard_index=1),
    ...     Written(species="bullfrog", there=False, index=1),
    ... ]
    >>> errors = hearing_errors(calls)
    >>> errors.missed.part, errors.missed.whole
    (1, 2)
    >>> errors.not_heard.part, errors.not_heard.whole
    (1, 2)
    >>> errors.other_index.part, errors.other_index.whole
    (1, 1)
    """
    known = [call for call in calls if call.there is not None]
    heard = [call for call in known if call.there]
    written = [call for call in known if call.index is not None]
    indexes = [(call.index, call.heard_index) for call in heard]
    both = [pair for pair in indexes if None not in pair]
    return HearingErrors(
        missed=Share(part=sum(index is None for index, _ in indexes), whole=len(heard)),
        not_heard=Share(part=sum(not call.there for call in written), whole=len(written)),
        other_index=Share(part=sum(own != other for own, other in both), whole=len(both)),
    )
