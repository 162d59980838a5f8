"""A Darwin Core Archive: sampling events, what was heard and not heard, and what was measured.

Star schema of the Darwin Core Text Guide (dwc.tdwg.org/text). The core holds two kinds of event:
a visit, and as its children the listening periods, one a stop. An occurrence says that a species
was present or absent, for every species of that night's checklist; a species that is neither heard
nor silent has no occurrence, and neither has a group of which only a member was written down.
Measurements use the extended extension registered at rs.gbif.org, because the plain one can point
at events only, and the call index belongs to an occurrence.
"""

from __future__ import annotations

import csv
import tempfile
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

from surveys.publishing.formats.archive import write_archive
from surveys.publishing.formats.darwincore_events import events
from surveys.publishing.formats.darwincore_measurements import (
    codes_of_species,
    measurements,
    occurrence_id,
)
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

DWC = "http://rs.tdwg.org/dwc/terms/"
DCTERMS = "http://purl.org/dc/terms/"
OBIS = "http://rs.iobis.org/obis/terms/"
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


def write(frozen: Frozen, target: Path) -> None:
    """`darwin-core.zip`; texts that a spreadsheet would take for a formula are guarded as in
    the tables."""
    members = _members(frozen.about)
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        visits = {row["visit"]: row for row in frozen.records("visits")}
        periods: dict[str, str] = {}
        for member, rows in (
            (members[0], events(frozen, visits, periods)),
            (members[1], _occurrences(frozen, visits, periods)),
            (members[2], measurements(frozen, visits)),
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


def _occurrences(
    frozen: Frozen, visits: Mapping[str, Any], periods: Mapping[str, str]
) -> Iterator[dict[str, Any]]:
    taxa = {row["species"]: _taxon(row) for row in frozen.records("checklist")}
    codes = codes_of_species(frozen)
    for period, species, index, confirmed, _, confirmed_by, recorded, far in frozen.rows("calls"):
        written = recorded or far
        # A group is present by the record of a member, which has an occurrence of its own.
        if not written and index != 0:
            continue
        observer = visits[periods[str(period)]]["observer"]
        yield {
            "eventID": period,
            "occurrenceID": occurrence_id(period, codes[species]),
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
