"""Routes and stops that are to be brought in, as plain values, and what stands in their way."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from enum import StrEnum

from surveys.models import Route, RouteChoice, Stop
from surveys.protocol.values import Place


class Elsewhere(StrEnum):
    """What to do where a stop of the file lies elsewhere than the stop of that number."""

    ASK = "ask"
    KEEP = "keep"
    CORRECT = "correct"
    MOVE = "move"


@dataclass(frozen=True, kw_only=True)
class PlanOptions:
    """What the file does not say."""

    protocol_id: int
    first_night: dt.date
    chosen: str = RouteChoice.UNKNOWN
    elsewhere: Elsewhere = Elsewhere.ASK
    reason: str = ""


@dataclass(frozen=True, kw_only=True)
class Spot:
    """Where in a draft: the route by its position, the stop by its position in the route, and the
    field; None: the whole."""

    route: int
    stop: int | None = None
    field: str = ""


@dataclass(frozen=True, kw_only=True)
class PlanFinding:
    """`kind` groups what is the same. What only asks for a look does not `block`."""

    kind: str
    spot: Spot
    message: str
    remedy: str = ""
    blocks: bool = True


@dataclass(frozen=True, kw_only=True)
class PlannedStop:
    """Texts that the file does not give are empty and change nothing. `position` is its place in
    the draft."""

    position: int
    number: int
    place: Place
    name: str = ""
    road: str = ""
    county: str = ""
    habitat: str = ""
    hydroperiod: str = ""
    fish: str = ""
    notes: str = ""


@dataclass(frozen=True, kw_only=True)
class PlannedRoute:
    """`line` is empty where the file has none."""

    position: int
    code: str
    name: str = ""
    region: str = ""
    stratum: str = ""
    line: tuple[Place, ...] = ()
    stops: tuple[PlannedStop, ...] = ()


@dataclass(frozen=True, kw_only=True)
class MatchedStop:
    """A stop of the plan beside the present stop of its number, if there is one; `changes` are
    the fields that the file would change, by name, and `meters` how far it lies from there.

    One that was never surveyed takes the place of the file (`moves_freely`); for any other somebody
    must say what is right (`is_elsewhere`).
    """

    planned: PlannedStop
    present: Stop | None = None
    meters: float = 0.0
    changes: dict[str, str] = field(default_factory=dict)
    is_elsewhere: bool = False
    moves_freely: bool = False

    @property
    def state(self) -> str:
        """`new`, `elsewhere`, `changed` or `same`."""
        if self.present is None:
            return "new"
        if self.is_elsewhere:
            return "elsewhere"
        return "changed" if self.changes or self.moves_freely else "same"


@dataclass(frozen=True, kw_only=True)
class MatchedRoute:
    """As `MatchedStop`. `new_line`: the file has another line than the route."""

    planned: PlannedRoute
    present: Route | None
    stops: tuple[MatchedStop, ...]
    changes: dict[str, str] = field(default_factory=dict)
    new_line: bool = False

    @property
    def state(self) -> str:
        """`new`, `changed` or `same`."""
        if self.present is None:
            return "new"
        differs = self.changes or self.new_line or any(s.state != "same" for s in self.stops)
        return "changed" if differs else "same"


@dataclass(frozen=True, kw_only=True)
class Plan:
    routes: tuple[MatchedRoute, ...]
    findings: tuple[PlanFinding, ...]
    options: PlanOptions

    @property
    def problems(self) -> tuple[PlanFinding, ...]:
        return tuple(finding for finding in self.findings if finding.blocks)

    @property
    def remarks(self) -> tuple[PlanFinding, ...]:
        return tuple(finding for finding in self.findings if not finding.blocks)

    @property
    def changes_something(self) -> bool:
        return any(route.state != "same" for route in self.routes)

    def count(self, state: str) -> int:
        """Stops in that state."""
        return sum(stop.state == state for route in self.routes for stop in route.stops)
