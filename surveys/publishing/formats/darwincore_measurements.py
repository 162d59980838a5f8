"""The measurements of a Darwin Core Archive: one row a value, of a visit, a period or a call.

What they measure is named by the CF Standard Names, as the NERC Vocabulary Server addresses them,
where these have a name for it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from surveys.protocol.weather import (
    CALL_INDEX,
    NOISE,
    SKY,
    Words,
)
from surveys.publishing.frozen import Frozen

CF_NAMES = "http://vocab.nerc.ac.uk/standard_name/"


@dataclass(frozen=True, kw_only=True)
class Measure:
    """A column that becomes a row of its own; `cf_name` is what CF Standard Names call it."""

    column: str
    type: str
    cf_name: str = ""
    unit: str = ""
    method: str = ""


def _codes(meanings: Mapping[Any, object]) -> str:
    return "; ".join(
        f"{code} {meaning.sign if isinstance(meaning, Words) else meaning}"
        for code, meaning in meanings.items()
    )


AIR, WIND, RAIN = "air_temperature", "beaufort_wind_force", "thickness_of_rainfall_amount"
BEAUFORT = "Beaufort force, judged by its signs on land"
SKY_WORDS = f"Seen by the observer: {_codes(SKY)}"
OF_VISIT = " Where it was not taken at the stop, that of the start of the visit."
OF_PERIOD = (
    Measure(column="minutes_after_sunset", type="minutes after sunset", unit="minute",
            method="From sunset at the first stop, worked out from the place as given here, to "
            "the start of listening"),
    Measure(column="air_temperature", type="air temperature", cf_name=AIR, unit="°C",
            method="Thermometer." + OF_VISIT),
    Measure(column="water_temperature", type="water temperature", unit="°C",
            method="Thermometer"),
    Measure(column="beaufort", type="wind force", cf_name=WIND, unit="Beaufort",
            method=f"{BEAUFORT}.{OF_VISIT}"),
    Measure(column="sky", type="sky", method=SKY_WORDS),
    Measure(column="noise", type="effect of noise on hearing",
            method=f"Judged by the observer: {_codes(NOISE)}"),
    Measure(column="water_tonight", type="water in the wetland", method="Seen by the observer"),
)  # fmt: skip
OF_WHOLE_VISIT = (
    Measure(column="start_air_temperature", type="air temperature at the start", cf_name=AIR,
            unit="°C", method="Thermometer"),
    Measure(column="start_beaufort", type="wind force at the start", cf_name=WIND,
            unit="Beaufort", method=BEAUFORT),
    Measure(column="start_sky", type="sky at the start", method=SKY_WORDS),
    Measure(column="end_air_temperature", type="air temperature at the end", cf_name=AIR,
            unit="°C", method="Thermometer"),
    Measure(column="end_beaufort", type="wind force at the end", cf_name=WIND, unit="Beaufort",
            method=BEAUFORT),
    Measure(column="end_sky", type="sky at the end", method=SKY_WORDS),
    Measure(column="rain_48h", type="rain in the 48 hours before", cf_name=RAIN, unit="mm"),
    Measure(column="rain_trace", type="trace of rain in the 48 hours before"),
)  # fmt: skip
CALL_INDEX_METHOD = (
    f"Highest call index while listening, an ordered class and not a count: {_codes(CALL_INDEX)}"
)


def measurements(frozen: Frozen, visits: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    for visit in visits.values():
        yield from _measured(visit["visit"], visit, OF_WHOLE_VISIT)
    for period in frozen.records("periods"):
        yield from _measured(period["period"], period, OF_PERIOD)
    yield from _own_measurements(frozen)
    codes = codes_of_species(frozen)
    for period, species, *_, recorded, far in frozen.rows("calls"):
        # Absence says index 0 already.
        if recorded or far:
            occurrence = occurrence_id(period, codes[species])
            beyond = " beyond the listening radius" if far else ""
            yield {
                "eventID": period,
                "measurementID": f"{occurrence}:call_index",
                "occurrenceID": occurrence,
                "measurementType": f"call index{beyond}",
                "measurementValue": recorded or far,
                "measurementMethod": CALL_INDEX_METHOD,
            }


def choice_names(choices: str) -> dict[str, str]:
    """Keys and names, from the column of that name."""
    pairs = (choice.partition(" = ") for choice in choices.split("; "))
    return {key: name for key, _, name in pairs}


def _own_measurements(frozen: Frozen) -> Iterator[dict[str, Any]]:
    """What the program asks for besides; a choice by its name."""
    fields = {row["field"]: row for row in frozen.records("own_fields")}
    names = {field: choice_names(row["choices"] or "") for field, row in fields.items()}
    for row in frozen.records("own_values"):
        field = fields[row["field"]]
        yield {
            "eventID": row["event"],
            "measurementID": f"{row['event']}:own.{row['field']}",
            "measurementType": field["name"],
            "measurementValue": names[row["field"]].get(row["value"], row["value"]),
            "measurementUnit": field["unit"],
            "measurementMethod": field["meaning"],
        }


def _measured(
    event: str, row: Mapping[str, Any], measures: Iterable[Measure]
) -> Iterator[dict[str, Any]]:
    for measure in measures:
        value = row[measure.column]
        if value is not None:
            yield {
                "eventID": event,
                "measurementID": f"{event}:{measure.column}",
                "measurementType": measure.type,
                "measurementTypeID": f"{CF_NAMES}{measure.cf_name}/" if measure.cf_name else None,
                "measurementValue": value,
                "measurementUnit": measure.unit,
                "measurementMethod": measure.method,
            }


def codes_of_species(frozen: Frozen) -> dict[Any, str]:
    return {row["species"]: row["code"] for row in frozen.records("checklist")}


def occurrence_id(period: Any, code: str) -> str:
    return f"{period}:{code}"
