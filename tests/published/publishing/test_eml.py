"""The metadata against Ecological Metadata Language 2.2.0.

`CHILDREN` is the order of children, and which of them must be there, as the schemas say
(github.com/NCEAS/eml, xsd/, commit fe77f8f9 of 2021-02-22: eml.xsd, eml-resource.xsd,
eml-dataset.xsd, eml-party.xsd, eml-coverage.xsd, eml-methods.xsd, eml-text.xsd). The schemas
themselves are under the GPL and are not copied here; with a copy in the folder that EML_SCHEMAS
names, the last test validates by them.
"""

import os
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from lxml import etree

from surveys.publishing.formats.eml import (
    EML,
    bounding_box,
    eml_bytes,
)
from tests.support.frozen_rows import (
    freeze_rows,
    frozen_by_hand,
)

_TEXT = "para+"
_PARTY = "organizationName+ electronicMailAddress* onlineUrl*"
# Element -> its children in order: one, ? at most one, + at least one, * any number.
CHILDREN = {
    "eml": "dataset",
    "dataset": "alternateIdentifier* title+ creator+ metadataProvider* pubDate? language? "
    "abstract? keywordSet* additionalInfo* intellectualRights? licensed* distribution* coverage? "
    "acknowledgements? maintenance? contact+ methods?",
    "creator": _PARTY,
    "metadataProvider": _PARTY,
    "contact": _PARTY,
    "abstract": _TEXT,
    "keywordSet": "keyword+",
    "additionalInfo": _TEXT,
    "intellectualRights": _TEXT,
    "licensed": "licenseName url? identifier?",
    "distribution": "online",
    "online": "url",
    "coverage": "geographicCoverage* temporalCoverage* taxonomicCoverage*",
    "geographicCoverage": "geographicDescription boundingCoordinates",
    "boundingCoordinates": "westBoundingCoordinate eastBoundingCoordinate northBoundingCoordinate "
    "southBoundingCoordinate",
    "temporalCoverage": "rangeOfDates",
    "rangeOfDates": "beginDate endDate",
    "beginDate": "calendarDate",
    "endDate": "calendarDate",
    "taxonomicCoverage": "generalTaxonomicCoverage? taxonomicClassification+",
    "taxonomicClassification": "taxonRankName? taxonRankValue commonName*",
    "acknowledgements": _TEXT,
    "maintenance": "description maintenanceUpdateFrequency?",
    "description": _TEXT,
    "methods": "methodStep+ sampling? qualityControl*",
    "methodStep": "description",
    "sampling": "studyExtent samplingDescription",
    "studyExtent": "description+",
    "samplingDescription": _TEXT,
    "qualityControl": "description",
    "para": "ulink*",
    "ulink": "citetitle*",
}
# eml-resource.xsd, MaintenanceUpdateFrequencyType.
FREQUENCIES = {
    "annually", "asNeeded", "biannually", "continually", "daily", "irregular", "monthly",
    "notPlanned", "weekly", "unknown", "otherMaintenancePeriod",
}  # fmt: skip


@pytest.fixture
def root(tmp_path):
    return ET.fromstring(eml_bytes(frozen_by_hand(tmp_path)))


def check(element):
    rule = CHILDREN.get(element.tag.rpartition("}")[2], "")
    found = [child.tag for child in element]
    expected = []
    for part in rule.split():
        name, many = part.rstrip("?+*"), part[-1] if part[-1] in "?+*" else ""
        count = found.count(name)
        assert count >= (many not in ("?", "*")), f"{element.tag} lacks {name}"
        assert count <= 1 or many in ("+", "*"), f"{element.tag} has {count} {name}"
        expected += [name] * count
    assert found == expected, element.tag
    for child in element:
        check(child)


def test_elements_stand_in_the_order_of_the_schema(root):
    assert root.tag == f"{{{EML}}}eml"
    assert root.get("packageId")
    assert root.get("system")
    check(root)


def test_no_element_is_empty(root):
    assert [one.tag for one in root.iter() if not len(one) and not (one.text or "").strip()] == []


def test_what_a_reader_needs_is_said(root):
    data = root.find("dataset")
    assert data.findtext("creator/organizationName") == "Hollow Creek Night Count"
    assert data.findtext("contact/electronicMailAddress") == "count@example.org"
    assert data.findtext("pubDate") == "2025-09-03"
    link = data.find("intellectualRights/para/ulink")
    assert link.get("url") == "https://creativecommons.org/licenses/by/4.0/"
    assert data.findtext("licensed/identifier") == "CC-BY-4.0"
    assert data.findtext("maintenance/maintenanceUpdateFrequency") in FREQUENCIES
    assert [one.text for one in data.iterfind("coverage/temporalCoverage//calendarDate")] == [
        "2024-04-10",
        "2025-05-10",
    ]
    ranks = [one.text for one in data.iterfind("coverage//taxonRankName")]
    assert ranks == ["species", "speciesAggregate"]
    words = " ".join(root.itertext())
    assert "absent, which means listened for and not heard" in words
    assert "neither present nor absent" in words
    assert "Ada Marsh, Wren Holloway, and 1 observer not named here" in words
    assert "Why: A visit was entered for the wrong night." in words


def test_the_area_says_its_country(root):
    words = root.find(".//geographicDescription").text
    assert words.startswith("Hollow County (ISO 3166-1 country code US). ")


def test_box_holds_whole_cells_and_no_more(root, tmp_path):
    """Stops lie in cells of 0.01° with these middles: 44.505 to 44.525, -93.125 to -93.105."""
    box = {one.tag[:4]: float(one.text) for one in root.find(".//boundingCoordinates")}
    assert box == pytest.approx({"west": -93.13, "east": -93.10, "nort": 44.53, "sout": 44.50})


def test_exact_places_get_a_box_as_wide_as_their_uncertainty(tmp_path):
    """0.03 km are 0.0002713° of latitude, and as much in length along the parallel of 60°, where
    a degree of longitude is half as long (WGS 84 at the equator: 110 574 m a degree)."""
    place = {"latitude": 60.0, "longitude": 10.0, "coordinate_uncertainty_m": 30.0}
    frozen = freeze_rows(tmp_path, {"stops": [{"stop": "a", "route": "r", "number": 1, **place}]})
    west, east, north, south = bounding_box(frozen)
    assert (north - 60, 60 - south) == pytest.approx((0.000271, 0.000271), abs=1e-6)
    assert (east - 10, 10 - west) == pytest.approx((0.000543, 0.000543), abs=1e-6)


def test_signs_that_xml_cannot_hold_do_not_break_it(tmp_path):
    root = ET.fromstring(
        eml_bytes(frozen_by_hand(tmp_path, reason="A \x00 bell \x07 & <b>5\N{NO-BREAK SPACE}°</b>"))
    )
    assert "A  bell  & <b>5\N{NO-BREAK SPACE}°</b>" in " ".join(root.itertext())


@pytest.mark.skipif("EML_SCHEMAS" not in os.environ, reason="EML_SCHEMAS names no folder")
def test_document_is_valid_by_the_schemas(tmp_path):
    schema = etree.XMLSchema(etree.parse(Path(os.environ["EML_SCHEMAS"]) / "eml.xsd"))
    schema.assertValid(etree.fromstring(eml_bytes(frozen_by_hand(tmp_path))))
    bare = frozen_by_hand(tmp_path / "bare", url="", contact_email="", observers=(), region="")
    schema.assertValid(etree.fromstring(eml_bytes(bare)))
