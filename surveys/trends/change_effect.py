"""What a kind of change of wetlands did to a species."""

from __future__ import annotations

from dataclasses import dataclass

from surveys.trends.estimates import Estimate

# The shares of an effect, in their order.
SHARES = ("before", "after", "unchanged_before", "unchanged_after")


@dataclass(frozen=True, kw_only=True)
class ShareHeard:
    """Stops in a season, and the share of them with the species, not corrected for detection."""

    sites: int
    heard: Estimate


@dataclass(frozen=True, kw_only=True)
class ChangeEffect:
    """What a kind of change did to the odds that the species is at a stop: ``odds`` is by what they
    were multiplied, beyond what the same years did at unchanged stops. ``stops`` and ``routes``
    have visits before and after the change; ``unchanged`` and ``unchanged_routes`` are what they
    are held against. ``shares`` are of changed stops before and after, then of the others in the
    seasons before and after the middle of the changes."""

    kind: str
    odds: Estimate
    stops: int
    routes: int
    unchanged: int
    unchanged_routes: int
    shares: tuple[ShareHeard, ShareHeard, ShareHeard, ShareHeard]
