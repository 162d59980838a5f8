"""A Darwin Core Archive: sampling events, what was heard and not heard, and what was measured.

Star schema of the Darwin Core Text Guide (dwc.tdwg.org/text). The core holds two kinds of event:
a visit, and as its children the listening periods, one a stop. An occurrence says that a species
was present or absent, for every species of that night's checklist; a species that is neither heard
nor silent has no occurrence, and neither has a group of which only a member was written down.
Measurements use the extended extension registered at rs.gbif.org, because the plain one can point
at events only, and the call index belongs to an occurrence. What they measure is named by the CF
Standard Names, as the NERC Vocabulary Server addresses them, where these have a name for it.
"""

from __future__ import annotations

import csv
import datetime as dt
import tempfile
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET
from zoneinfo import ZoneInfo

from surveys.protocol.weather import (
    CALL_INDEX,
    NOISE,
    SKY,
    Words,
)
from surveys.publishing.formats.archive import write_archive
from surveys.publishing.formats.eml import eml_bytes
from surveys.publishing.formats.yearly_csv import guard
from surveys.publishing.frozen import (
    About,
    Frozen,
)
from surveys.publishing.naming import (
    genus_of,
    rank_of,
)
from surveys.publishing.routeplaces import with_reach

DWC = "http://rs.tdwg.org/dwc/terms/"
DCTERMS = "http://purl.org/dc/terms/"
OBIS = "http://rs.iobis.org/obis/terms/"
CF_NAMES = "http://vocab.nerc.ac.uk/standard_name/"
TEXT = "http://rs.tdwg.org/dwc/text/"
MEASUREMENTS = f"{OBIS}ExtendedMeasurementOrFact"
METADATA = "eml.xml"
# The vocabulary registered at rs.gbif.org (issued 2020-07-15). The standard itself has meant
# `detected` and `notDetected` since its version of 2026-05-26, but registered readers know only
# these two; the metadata says what absent means here.
PRESENT, ABSENT = "present", "absent"
# Free text: the standard recommends a vocabulary and names none.
CONFIRMED, UNCONFIRMED = "confirmed by ear from a recording", "unconfirmed"
FAR = "heard only beyond the listening radius of the protocol; not a detection in its trends"

EVENT_TERMS = (
    "eventID", "parentEventID", "eventType", "eventDate", "samplingProtocol", "sampleSizeValue",
    "sampleSizeUnit", "samplingEffort", "habitat", "eventRemarks", "locationID", "higherGeography",
    "countryCode", "locality", "decimalLatitude", "decimalLongitude",
    "geodeticDatum", "coordinateUncertaintyInMeters", "coordinatePrecision",
    "georeferenceRemarks", "dataGeneralizations", "informationWithheld",
)  # fmt: skip
OCCURRENCE_TERMS = (
    "eventID", "occurrenceID", "basisOfRecord", "occurrenceStatus", "recordedBy", "behavior",
    "scientificName", "taxonRank", "genus", "vernacularName", "identificationQualifier",
    "identificationRemarks", "identificationVerificationStatus", "identifiedBy",
    "occurrenceRemarks",
)  # fmt: skip
MEASUREMENT_TERMS = (
    "eventID", "measurementID", "occurrenceID", "measurementType", "measurementTypeID",
    "measurementValue", "measurementUnit", "measurementMethod",
)  # fmt: skip
# Terms of the extension itself; all others are of the standard.
OF_EXTENSION = frozenset({"measurementTypeID"})
# All that call at night and are counted here are frogs and toads.
CLASSIFICATION = {
    "kingdom": "Animalia",
    "phylum": "Chordata",
    "class": "Amphibia",
    "order": "Anura",
}


@dataclass(frozen=True, kw_only=True)
class Member:
    """A data file of the archive. The first of its terms holds the identifier of the event.
    `everywhere` are terms that have one value in every row."""

    name: str
    row_type: str
    terms: tuple[str, ...]
    everywhere: Mapping[str, str] = field(default_factory=dict)
    key_is_term: bool = True


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

ROUTE_PLACE = (
    "The middle of the stops of the route as they are given; all of them lie within the "
    "uncertainty. The listening periods of the visit have the place of each stop."
)


def write(frozen: Frozen, target: Path) -> None:
    """`darwin-core.zip`; texts that a spreadsheet would take for a formula are guarded as in
    the tables."""
    members = _members(frozen.about)
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        visits = {row["visit"]: row for row in frozen.records("visits")}
        periods: dict[str, str] = {}
        for member, rows in (
            (members[0], _events(frozen, visits, periods)),
            (members[1], _occurrences(frozen, visits, periods)),
            (members[2], _measurements(frozen, visits)),
        ):
            _write_member(folder / member.name, member, rows)
        write_archive(
            target,
            frozen.about.published_at,
            [
                ("meta.xml", _meta(members)),
                (METADATA, eml_bytes(frozen)),
                *((member.name, folder / member.name) for member in members),
            ],
        )


def _members(about: About) -> tuple[Member, Member, Member]:
    return (
        Member(
            name="event.csv",
            row_type=f"{DWC}Event",
            terms=EVENT_TERMS,
            everywhere={
                f"{DCTERMS}license": about.license_url,
                f"{DCTERMS}rightsHolder": about.program,
                f"{DWC}datasetName": about.title,
            },
        ),
        Member(
            name="occurrence.csv",
            row_type=f"{DWC}Occurrence",
            terms=OCCURRENCE_TERMS,
            everywhere={f"{DWC}{rank}": name for rank, name in CLASSIFICATION.items()},
        ),
        Member(
            name="measurement.csv",
            row_type=MEASUREMENTS,
            terms=MEASUREMENT_TERMS,
            # The extension knows no eventID of its own: the key points at the event.
            key_is_term=False,
        ),
    )


def _events(
    frozen: Frozen, visits: Mapping[str, Any], periods: dict[str, str]
) -> Iterator[dict[str, Any]]:
    """Visits, then listening periods; fills `periods` with the visit of each."""
    about = frozen.about
    stops = {row["stop"]: row for row in frozen.records("stops")}
    stops_of: dict[str, list[dict[str, Any]]] = {}
    for stop in stops.values():
        stops_of.setdefault(stop["route"], []).append(stop)
    routes = {
        row["route"]: with_reach(row, stops_of.get(row["route"], ()))
        for row in frozen.records("routes")
    }
    limits = {
        (row["protocol"], row["version"]): row["limits"] for row in frozen.records("protocols")
    }
    spans: dict[str, _Span] = {}
    for period in frozen.records("periods"):
        periods[period["period"]] = period["visit"]
        spans[period["visit"]] = spans.get(period["visit"], _Span()).with_period(period)
    zone = ZoneInfo(about.time_zone)
    for visit in visits.values():
        yield _visit_event(about, visit, routes[visit["route"]], spans, limits, zone)
    for period in frozen.records("periods"):
        visit, stop = visits[period["visit"]], stops[period["stop"]]
        yield _period_event(about, period, visit, stop, routes[visit["route"]], zone)


@dataclass(frozen=True, kw_only=True)
class _Span:
    """What the listening periods of a visit come to."""

    count: int = 0
    minutes: float = 0.0
    first: dt.datetime | None = None
    last: dt.datetime | None = None

    def with_period(self, period: Mapping[str, Any]) -> _Span:
        started, finished = period["started_at"], period["finished_at"]
        return _Span(
            count=self.count + 1,
            minutes=self.minutes + (_minutes(period) or 0.0),
            first=min((time for time in (self.first, started) if time), default=None),
            last=max((time for time in (self.last, finished) if time), default=None),
        )


def _visit_event(
    about: About,
    visit: Mapping[str, Any],
    route: Mapping[str, Any],
    spans: Mapping[str, _Span],
    limits: Mapping[tuple[str, int], str | None],
    zone: ZoneInfo,
) -> dict[str, Any]:
    span = spans.get(visit["visit"], _Span())
    version = visit["protocol"], visit["protocol_version"]
    words = limits.get(version)
    return {
        "eventID": visit["visit"],
        "eventType": "survey",
        "eventDate": _date(visit, span.first, span.last, zone),
        "samplingProtocol": _protocol(visit) + (f": {words}" if words else ""),
        **_sample(span.minutes or None),
        "samplingEffort": f"{_number(span.minutes)} minutes of listening at {span.count} stops",
        "eventRemarks": _remarks(visit),
        **_area(about, route),
        "locationID": f"{about.slug}:{route['route']}",
        "locality": route["name"],
        **_route_place(route),
    }


def _route_place(route: Mapping[str, Any]) -> dict[str, Any]:
    """A visit has no place of its own: a circle that holds all stops of its route, as far as
    these are shared; nothing where they are not."""
    sharing = {
        "dataGeneralizations": route["data_generalizations"],
        "informationWithheld": route["information_withheld"],
    }
    if route["coordinate_uncertainty_m"] is None:
        return sharing
    return {
        "decimalLatitude": route["latitude"],
        "decimalLongitude": route["longitude"],
        "geodeticDatum": "EPSG:4326",
        "coordinateUncertaintyInMeters": route["coordinate_uncertainty_m"],
        "georeferenceRemarks": ROUTE_PLACE,
        **sharing,
    }


def _period_event(
    about: About,
    period: Mapping[str, Any],
    visit: Mapping[str, Any],
    stop: Mapping[str, Any],
    route: Mapping[str, Any],
    zone: ZoneInfo,
) -> dict[str, Any]:
    minutes = _minutes(period)
    known = stop["latitude"] is not None
    return {
        "eventID": period["period"],
        "parentEventID": visit["visit"],
        "eventType": "siteVisit",
        "eventDate": _date(visit, period["started_at"], period["finished_at"], zone),
        "samplingProtocol": _protocol(visit),
        **_sample(minutes),
        "samplingEffort": f"{_number(minutes)} minutes of listening" if minutes else None,
        "habitat": _habitat(stop),
        "eventRemarks": f"{_remarks(visit)}; stop {stop['number']} of its route",
        **_area(about, route),
        "locationID": f"{about.slug}:{stop['stop']}",
        "locality": stop["name"],
        "decimalLatitude": stop["latitude"],
        "decimalLongitude": stop["longitude"],
        "geodeticDatum": "EPSG:4326" if known else None,
        "coordinateUncertaintyInMeters": stop["coordinate_uncertainty_m"],
        "coordinatePrecision": stop["grid_degrees"],
        "dataGeneralizations": stop["data_generalizations"],
        "informationWithheld": stop["information_withheld"],
    }


def _area(about: About, route: Mapping[str, Any]) -> dict[str, Any]:
    """Areas from large to small, as the definition of higherGeography asks. Whether one of them is
    a state or a county, nobody has said."""
    areas = dict.fromkeys(filter(None, (about.region, route["region"])))
    return {
        "higherGeography": " | ".join(areas) or None,
        "countryCode": about.country_code or None,
    }


def _protocol(visit: Mapping[str, Any]) -> str:
    return f"{visit['protocol']}, version {visit['protocol_version']}"


def _remarks(visit: Mapping[str, Any]) -> str:
    """The night matters: a visit after midnight belongs to the evening before."""
    window = f"; window {visit['window']}" if visit["window"] else ""
    return (
        f"Night of {visit['night'].isoformat()}{window}; visit {visit['visit_number']} "
        f"of season year {visit['season_year']}"
    )


def _habitat(stop: Mapping[str, Any]) -> str | None:
    parts = [stop["habitat"]]
    if stop["hydroperiod"]:
        parts.append(f"holds water: {stop['hydroperiod'].replace('_', ' ')}")
    if stop["fish"]:
        parts.append(f"fish: {stop['fish']}")
    return "; ".join(part for part in parts if part) or None


def _sample(minutes: float | None) -> dict[str, Any]:
    """Size and unit stand together or not at all, as the standard asks."""
    if minutes is None:
        return {}
    return {"sampleSizeValue": _number(minutes), "sampleSizeUnit": "minute"}


def _minutes(period: Mapping[str, Any]) -> float | None:
    started, finished = period["started_at"], period["finished_at"]
    if started is None or finished is None:
        return None
    return ((finished - started).total_seconds() - (period["paused"] or 0)) / 60


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:.2f}".rstrip("0").rstrip(".")


def _date(
    visit: Mapping[str, Any], first: dt.datetime | None, last: dt.datetime | None, zone: ZoneInfo
) -> str:
    """An ISO 8601 interval in local time with its offset, so that the day reads as it was lived;
    the night alone where no time is known."""
    times = [time.astimezone(zone).isoformat() for time in (first, last) if time is not None]
    return "/".join(dict.fromkeys(times)) or visit["night"].isoformat()


def _occurrences(
    frozen: Frozen, visits: Mapping[str, Any], periods: Mapping[str, str]
) -> Iterator[dict[str, Any]]:
    taxa = {row["species"]: _taxon(row) for row in frozen.records("checklist")}
    codes = _codes_of(frozen)
    for period, species, index, confirmed, confirmed_by, recorded, far in frozen.rows("calls"):
        written = recorded or far
        # A group is present by the record of a member, which has an occurrence of its own.
        if not written and index != 0:
            continue
        observer = visits[periods[str(period)]]["observer"]
        yield {
            "eventID": period,
            "occurrenceID": _occurrence_id(period, codes[species]),
            "basisOfRecord": "HumanObservation",
            "occurrenceStatus": PRESENT if written else ABSENT,
            "recordedBy": observer,
            "behavior": "calling" if written else None,
            "occurrenceRemarks": FAR if far else None,
            **taxa[species],
            **(_identification(observer, recorded and confirmed, confirmed_by) if written else {}),
        }


def _identification(observer: str, confirmed: Any, confirmed_by: Any) -> dict[str, Any]:
    """Who says so: the observer, and whoever heard it again. Names are those of the tables."""
    return {
        "identificationVerificationStatus": CONFIRMED if confirmed else UNCONFIRMED,
        "identifiedBy": f"{observer} | {confirmed_by}" if confirmed else observer,
    }


def _taxon(row: Mapping[str, Any]) -> dict[str, Any]:
    name, group = row["species"], row["is_group"]
    return {
        "scientificName": name,
        "taxonRank": rank_of(name, is_group=group),
        "genus": genus_of(name),
        "vernacularName": row["common_name"],
        "identificationQualifier": "not told apart by ear" if group else None,
        "identificationRemarks": (
            "One or more of a group of species that cannot be told apart by ear; absent means "
            "that none of them was heard."
            if group
            else None
        ),
    }


def _codes_of(frozen: Frozen) -> dict[Any, str]:
    return {row["species"]: row["code"] for row in frozen.records("checklist")}


def _occurrence_id(period: Any, code: str) -> str:
    return f"{period}:{code}"


def _measurements(frozen: Frozen, visits: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    for visit in visits.values():
        yield from _measured(visit["visit"], visit, OF_WHOLE_VISIT)
    for period in frozen.records("periods"):
        yield from _measured(period["period"], period, OF_PERIOD)
    yield from _own_measurements(frozen)
    codes = _codes_of(frozen)
    for period, species, *_, recorded, far in frozen.rows("calls"):
        # Absence says index 0 already.
        if recorded or far:
            occurrence = _occurrence_id(period, codes[species])
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


def _write_member(path: Path, member: Member, rows: Iterable[Mapping[str, Any]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(member.terms)
        writer.writerows(map(_cell, map(row.get, member.terms)) for row in rows)


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, str):
        return value if value[:1].isalnum() and value.isprintable() else _flat(value)
    if isinstance(value, bool):
        return "true" if value else "false"
    return repr(value) if isinstance(value, float) else str(value)


def _flat(text: str) -> str:
    """One row is one line, which not every reader of archives takes for granted."""
    return guard(" ".join(text.split()))


def _meta(members: tuple[Member, ...]) -> bytes:
    root = ET.Element("archive", {"xmlns": TEXT, "metadata": METADATA})
    for place, member in enumerate(members):
        part = ET.SubElement(
            root,
            "extension" if place else "core",
            {
                "encoding": "UTF-8",
                "fieldsTerminatedBy": ",",
                "linesTerminatedBy": r"\n",
                "fieldsEnclosedBy": '"',
                "ignoreHeaderLines": "1",
                "rowType": member.row_type,
            },
        )
        ET.SubElement(ET.SubElement(part, "files"), "location").text = member.name
        ET.SubElement(part, "coreid" if place else "id", {"index": "0"})
        for index, term in enumerate(member.terms):
            if index or member.key_is_term:
                prefix = OBIS if term in OF_EXTENSION else DWC
                ET.SubElement(part, "field", {"index": str(index), "term": prefix + term})
        for term, value in member.everywhere.items():
            ET.SubElement(part, "field", {"term": term, "default": value})
    ET.indent(root)
    return ET.tostring(root, encoding="UTF-8", xml_declaration=True) + b"\n"
