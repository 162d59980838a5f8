"""Metadata of a publication as Ecological Metadata Language 2.2.0 (eml.ecoinformatics.org)."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from typing import Any
from xml.etree import ElementTree as ET

from surveys.publishing.frozen import (
    About,
    Frozen,
)
from surveys.publishing.method import (
    CAVEATS,
    COUNTED,
)
from surveys.publishing.naming import (
    rank_of,
    thanks,
)

EML = "https://eml.ecoinformatics.org/eml-2.2.0"
SCHEMA = f"{EML} https://eml.ecoinformatics.org/eml-2.2.0/eml.xsd"
INSTANCE = "http://www.w3.org/2001/XMLSchema-instance"
LANGUAGE = "{http://www.w3.org/XML/1998/namespace}lang"
# All but the characters of XML 1.0 (production 2, Char).
_UNFIT = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
_METERS_PER_DEGREE = 110_574.0  # of latitude at the equator, the least there is (WGS 84)

GUARDED = (
    "In the data files a text that begins with = + - @ or an apostrophe has one apostrophe put "
    "before it, so that no spreadsheet takes it for a formula. Take away exactly one apostrophe "
    "to have it as it was. Line breaks within a text are written as spaces."
)
ABSENCES = (
    "A listening period that was completed has an occurrence for every species on the checklist of "
    "that night. It is present with a call index of 1 to 3, or absent, which means listened for "
    "and not heard. Absent does not mean that the species was not there. A species that was heard "
    "only beyond the listening radius of the protocol is present, and its occurrenceRemarks say "
    "so. In the trends it is not a detection. A species that was heard without certainty, or whose "
    "record was left out in review, has no occurrence at that stop: it is neither present nor "
    "absent."
)
QUALITY = (
    "Each sheet is checked by rules of its protocol (times, weather, order of stops, season), then "
    "a coordinator reviews it. Only accepted visits are published, and only what review did "
    "not exclude from trends."
)
UPKEEP = (
    "A new publication every season year. A publication never changes; a correction is a new "
    "version that says why it replaces the one before."
)
SAMPLING = (
    "Fixed routes of fixed stops, each visited on several nights of the season. At each stop the "
    "observer listens for a set time and notes the highest call index of each species."
)


def eml_bytes(frozen: Frozen) -> bytes:
    """The document, valid by the schema of EML 2.2.0."""
    about = frozen.about
    ET.register_namespace("eml", EML)
    ET.register_namespace("xsi", INSTANCE)
    root = ET.Element(
        f"{{{EML}}}eml",
        {
            "packageId": f"{about.slug}-{about.season_year}-v{about.version}",
            "system": about.url or about.slug,
            "scope": "system",
            LANGUAGE: "en",
            f"{{{INSTANCE}}}schemaLocation": SCHEMA,
        },
    )
    _dataset(ET.SubElement(root, "dataset"), frozen)
    ET.indent(root)
    return ET.tostring(root, encoding="UTF-8", xml_declaration=True) + b"\n"


def _dataset(dataset: ET.Element, frozen: Frozen) -> None:
    about = frozen.about
    for name in (about.url, f"{about.slug}-{about.season_year}-v{about.version}"):
        if name:
            _text(dataset, "alternateIdentifier", name)
    _text(dataset, "title", about.title).set(LANGUAGE, "en")
    _party(dataset, "creator", about)
    _party(dataset, "metadataProvider", about)
    _text(dataset, "pubDate", about.published_at.date().isoformat())
    _text(dataset, "language", "en")
    _paragraphs(dataset, "abstract", _abstract(about))
    keywords = ET.SubElement(dataset, "keywordSet")
    for word in (
        "amphibians",
        "Anura",
        "calling survey",
        "call index",
        "occupancy",
        "samplingevent",
    ):
        _text(keywords, "keyword", word)
    _paragraphs(dataset, "additionalInfo", [GUARDED, f"Cite as: {about.citation}"])
    _rights(dataset, about)
    if about.url:
        online = ET.SubElement(ET.SubElement(dataset, "distribution"), "online")
        _text(online, "url", about.url).set("function", "information")
    _coverage(ET.SubElement(dataset, "coverage"), frozen)
    _paragraphs(dataset, "acknowledgements", [thanks(about)])
    maintenance = ET.SubElement(dataset, "maintenance")
    _paragraphs(maintenance, "description", [UPKEEP])
    _text(maintenance, "maintenanceUpdateFrequency", "annually")
    _party(dataset, "contact", about)
    _methods(ET.SubElement(dataset, "methods"), frozen)


def _abstract(about: About) -> list[str]:
    words = [
        (
            f"Night calling surveys of frogs and toads by volunteers of {about.program}, season "
            f"years {about.first_year} to {about.season_year}: every listening period that "
            "counts, with the call index of each species of the checklist, silence included, and "
            "the weather."
        ),
        ABSENCES,
    ]
    if about.reason:
        words.append(f"Version {about.version} replaces the one before. Why: {about.reason}")
    return words


def _rights(dataset: ET.Element, about: About) -> None:
    rights = ET.SubElement(ET.SubElement(dataset, "intellectualRights"), "para")
    rights.text = "This work is licensed under "
    link = ET.SubElement(rights, "ulink", {"url": about.license_url})
    _text(link, "citetitle", about.license)
    link.tail = "."
    licensed = ET.SubElement(dataset, "licensed")
    _text(licensed, "licenseName", about.license)
    _text(licensed, "url", about.license_url)
    _text(licensed, "identifier", about.license)


def _coverage(coverage: ET.Element, frozen: Frozen) -> None:
    """Where, when and what; no bounding box where all places are withheld."""
    about = frozen.about
    box = bounding_box(frozen)
    if box is not None:
        geographic = ET.SubElement(coverage, "geographicCoverage")
        where = about.region or about.program
        if about.country_code:
            where += f" (ISO 3166-1 country code {about.country_code})"
        _text(
            geographic,
            "geographicDescription",
            f"{where}. The box holds the stops as they are given, with the whole of the grid cells "
            "in which they lie.",
        )
        bounds = ET.SubElement(geographic, "boundingCoordinates")
        sides = ("west", "east", "north", "south")
        for side, value in zip(sides, box, strict=True):
            _text(bounds, f"{side}BoundingCoordinate", repr(value))
    nights = [row["night"] for row in frozen.records("visits")]
    if nights:
        dates = ET.SubElement(ET.SubElement(coverage, "temporalCoverage"), "rangeOfDates")
        for side, night in (("beginDate", min(nights)), ("endDate", max(nights))):
            _text(ET.SubElement(dates, side), "calendarDate", night.isoformat())
    _taxa(coverage, frozen)


def _taxa(coverage: ET.Element, frozen: Frozen) -> None:
    rows = list(frozen.records("checklist"))
    if not rows:
        return
    taxonomic = ET.SubElement(coverage, "taxonomicCoverage")
    _text(taxonomic, "generalTaxonomicCoverage", "Frogs and toads that call at night (Anura).")
    for row in rows:
        taxon = ET.SubElement(taxonomic, "taxonomicClassification")
        rank = rank_of(row["species"], is_group=row["is_group"])
        if rank:
            _text(taxon, "taxonRankName", rank)
        _text(taxon, "taxonRankValue", row["species"])
        _text(taxon, "commonName", row["common_name"])


def bounding_box(frozen: Frozen) -> tuple[float, float, float, float] | None:
    """West, east, north, south in degrees around the stops as given, wide enough for their
    uncertainty; None where no stop has coordinates."""
    boxes = [_around(stop) for stop in frozen.records("stops") if stop["latitude"] is not None]
    if not boxes:
        return None
    west, east, north, south = zip(*boxes, strict=True)
    return (
        max(min(west), -180.0),
        min(max(east), 180.0),
        min(max(north), 90.0),
        max(min(south), -90.0),
    )


def _around(stop: Mapping[str, Any]) -> tuple[float, float, float, float]:
    """The grid cell; for an exact place a circle of its uncertainty."""
    latitude, longitude = stop["latitude"], stop["longitude"]
    if stop["grid_degrees"] is not None:
        tall = wide = stop["grid_degrees"] / 2
    else:
        tall = (stop["coordinate_uncertainty_m"] or 0.0) / _METERS_PER_DEGREE
        wide = tall / max(math.cos(math.radians(latitude)), 0.01)
    return (
        round(longitude - wide, 6),
        round(longitude + wide, 6),
        round(latitude + tall, 6),
        round(latitude - tall, 6),
    )


def _methods(methods: ET.Element, frozen: Frozen) -> None:
    step = ET.SubElement(methods, "methodStep")
    _paragraphs(step, "description", [*COUNTED, ABSENCES])
    sampling = ET.SubElement(methods, "sampling")
    extent = ET.SubElement(sampling, "studyExtent")
    _paragraphs(extent, "description", _protocols(frozen) or [SAMPLING])
    _paragraphs(sampling, "samplingDescription", [SAMPLING, *CAVEATS])
    _paragraphs(ET.SubElement(methods, "qualityControl"), "description", [QUALITY])


def _protocols(frozen: Frozen) -> list[str]:
    protocols = []
    for row in frozen.records("protocols"):
        since = row["in_force_from"].isoformat()
        parts = [f"{row['protocol']}, version {row['version']}, in effect from {since}"]
        parts += [str(row[name]) for name in ("limits", "windows") if row[name]]
        if row["source"]:
            parts.append(f"Source of its limits: {row['source']}")
        protocols.append(". ".join(parts))
    return protocols


def _party(parent: ET.Element, role: str, about: About) -> None:
    party = ET.SubElement(parent, role)
    _text(party, "organizationName", about.program)
    if about.contact_email:
        _text(party, "electronicMailAddress", about.contact_email)
    if about.url:
        _text(party, "onlineUrl", about.url)


def _paragraphs(parent: ET.Element, name: str, texts: Iterable[str]) -> None:
    block = ET.SubElement(parent, name)
    for text in texts:
        _text(block, "para", text)


def _text(parent: ET.Element, name: str, text: str) -> ET.Element:
    """An element with a text; what XML cannot hold is left out."""
    element = ET.SubElement(parent, name)
    element.text = _UNFIT.sub("", text)
    return element
