"""One part of the sheet while it is read: its texts, its place, and the problems found."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TypeVar

from surveys.protocol.values import (
    Finding,
    Where,
)
from surveys.visits.sheet.reading_rules import problem
from surveys.visits.sheet.texts import (
    CellError,
    is_missing,
)

T = TypeVar("T")

LABELS = {
    "night": "Night",
    "temperature_unit": "Unit of temperature",
    "second_observer": "Second observer",
    "notes": "Notes",
    "rain_unit": "Unit of rain",
    "rain_48h": "Rain in the past 48 hours",
    "days_since_rain": "Days since rain",
    "status": "Listened or skipped",
    "skip_reason": "Reason for skipping",
    "arrived_at": "Arrival",
    "started_at": "Start of the listening",
    "finished_at": "End of the listening",
    "paused_minutes": "Pause",
    "air_temperature": "Air temperature",
    "water_temperature": "Water temperature",
    "beaufort": "Wind force",
    "sky": "Sky code",
    "noise_index": "Noise index",
    "cars": "Cars",
    "interrupted": "Interrupted",
    "moonlight": "Moonlight",
    "water_tonight": "Water tonight",
    "note": "Note",
    "latitude": "Latitude",
    "longitude": "Longitude",
    "accuracy_m": "Accuracy",
    "stop": "Stop",
    "species": "Species",
    "life_stage": "Life stage",
    "count": "Count",
    "color_form": "Color form",
}


@dataclass(frozen=True, kw_only=True)
class Part:
    """`prefix` is put before the field names in findings, `suffix` after the labels."""

    texts: dict[str, str]
    problems: list[Finding]
    stop: int | None = None
    prefix: str = ""
    suffix: str = ""
    labels: dict[str, str] = field(default_factory=lambda: LABELS)

    def text(self, name: str) -> str:
        return self.texts.get(name, "")

    def has(self, name: str) -> bool:
        return not is_missing(self.text(name))

    def read(
        self,
        name: str,
        reader: Callable[[str], T],
        *,
        missing: Callable[[str], bool] = is_missing,
    ) -> T | None:
        """The value of a cell; None when it is missing or cannot be read, which is reported."""
        if missing(self.text(name)):
            return None
        try:
            return reader(self.text(name))
        except CellError as error:
            self.report(error.code, name, f"{self.label(name)}: {error.message}", error.remedy)
            return None

    def label(self, name: str) -> str:
        return self.labels.get(name, name) + self.suffix

    def where(self, name: str) -> Where:
        return Where(stop=self.stop, field=self.prefix + name)

    def report(self, code: str, name: str, message: str, remedy: str) -> None:
        self.problems.append(problem(code, self.where(name), message, remedy))
