"""Sheets as anyone might fill them in: cells drawn at random, most of them readable, many at the
edges of what a protocol asks."""

import datetime as dt
import random
from collections.abc import Mapping, Sequence
from typing import Any
from zoneinfo import ZoneInfo

Cells = dict[str, str]

_NUMBERS = ("0", "1", "2", "3", "4", "7", "12", "13", "-1", "3.0", "2,5", ".5", "+4", "1e3", "x")
_AIR = ("12.5", "12,5", "4", "5", "5.0", "41 F", "41°F", "-16", "46", "−3", "99", "120 F", "warm")
_WATER = (*_AIR, "9.99", "10", "50 °F", "49.9f")
_SKIES = (
    "clear",
    "overcast",
    "light_rain",
    "Light rain",
    "heavy",
    "snow",
    "sno",
    "3",
    "A",
    "rainy",
)
_NOISES = ("quiet", "heard_through", "loud_only", "all lost", "fai", "0", "2", "5", "deafening")
_CALLS = ("0", "1", "2", "3", "4", "?", "2 far", "1n", "3 NEAR", "? f", "-", "T", "0 near", "many")
_SEEN = ("listened", "listened", "listened", "skipped", "Listened", "maybe")
_FILLED = ("1", "3.5", "yes", "no", "open", "reed", "n/a", "-", "lots")
_PAUSES = ("0", "1", "2.5", "11", "0.1", "601", "long")
_FOLDS = ("first", "second", "third")
_MISSING = ("", "-", "n/a")


class AnySheet:
    """Draws sheets of visits to the route of a phone's `packet`."""

    def __init__(self, packet: Mapping[str, Any], seed: int) -> None:
        self._packet, self._draw = packet, random.Random(seed)
        self._zone = ZoneInfo(packet["route"]["time_zone"])

    def cells(self, night: str) -> Cells:
        """What stands on the sheet of a visit on `night`, beside what every sheet begins with."""
        cells: Cells = {}
        for end in ("start", "end"):
            if self._chance(0.6):
                cells |= self._some(f"{end}.", self._weather())
        for field in self._packet["own_fields"]:
            if field["per"] == "visit" and self._chance(0.6):
                cells[f"own.{field['key']}"] = self._one(_FILLED)
        if self._chance(0.1):
            cells["temperature_unit"] = self._one(("F", "C", "c"))
        numbers = [stop["number"] for stop in self._packet["route"]["stops"]]
        at = self._begin(night)
        for number in sorted({*numbers, *([99] if self._chance(0.1) else [])}):
            if self._chance(0.9):
                at += dt.timedelta(minutes=self._draw.randint(-3, 12))
                cells |= self._some(f"stops.{number}.", self._stop(number, at, night))
        return {address: text for address, text in cells.items() if text}

    def _stop(self, number: int, at: dt.datetime, night: str) -> Cells:
        cells = {**self._weather(), "noise": self._one(_NOISES), "status": self._one(_SEEN)}
        cells["water_temperature"] = self._one(_WATER)
        cells["paused_minutes"] = self._one(_PAUSES)
        times = [at, at + self._seconds(0, 130), at + self._seconds(290, 520)]
        edge = self._edge_of_night(number, night)
        if edge is not None and self._chance(0.4):
            place = self._draw.randint(1, 2)
            times[place] = edge + self._seconds(-61, 61)
        names = ("arrived_at", "started_at", "finished_at")
        cells |= {name: self._clock(time) for name, time in zip(names, times, strict=True)}
        cells |= {f"{name}.fold": self._one(_FOLDS) for name in names if self._chance(0.3)}
        for species in self._packet["species"]:
            cells[f"calls.{species['code']}"] = self._one(_CALLS) if self._chance(0.4) else ""
        if self._chance(0.2):
            cells[f"calls.{self._one(self._packet['others'])[0]}"] = self._one(_CALLS)
        for field in self._packet["own_fields"]:
            if field["per"] == "stop":
                cells[f"own.{field['key']}"] = self._one(_FILLED)
        place = next(
            (s["place"] for s in self._packet["route"]["stops"] if s["number"] == number), {}
        )
        for name, degrees in place.items():
            cells[name] = f"{degrees + self._draw.uniform(-0.002, 0.002):.6f}"
        cells["accuracy_m"] = self._one(("", "8", "40.5", "-1"))
        return cells

    def _weather(self) -> Cells:
        return {
            "air_temperature": self._one(_AIR),
            "beaufort": self._one(_NUMBERS),
            "sky": self._one(_SKIES),
        }

    def _begin(self, night: str) -> dt.datetime:
        evening = dt.datetime.combine(dt.date.fromisoformat(night), dt.time(19, 30), self._zone)
        return evening + dt.timedelta(minutes=self._draw.randint(0, 390))

    def _edge_of_night(self, number: int, night: str) -> dt.datetime | None:
        hours = self._packet["nights"][night]["stops"].get(str(number), {})
        edges = [hours[name] for name in ("earliest_start", "latest_end") if hours.get(name)]
        return dt.datetime.fromisoformat(self._one(edges)) if edges else None

    def _clock(self, at: dt.datetime) -> str:
        """An instant as a phone writes it, or a local time as somebody types it."""
        local = at.astimezone(self._zone)
        instant = at.astimezone(dt.UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
        return self._one(
            (instant, instant, f"{local:%H:%M}", f"{local:%H:%M:%S}", f"{local:%I:%M %p}", "25:00")
        )

    def _some(self, prefix: str, cells: Mapping[str, str]) -> Cells:
        """Most of the cells; each of the others is blank, or says that nothing was noted."""
        return {
            prefix + name: text if self._chance(0.85) else self._one(_MISSING)
            for name, text in cells.items()
        }

    def _seconds(self, low: int, high: int) -> dt.timedelta:
        return dt.timedelta(seconds=self._draw.randint(low, high))

    def _one(self, choices: Sequence[Any]) -> Any:
        return self._draw.choice(choices)

    def _chance(self, share: float) -> bool:
        return self._draw.random() < share
