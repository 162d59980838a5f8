"""The Darwin Core Archive against the standard, and read by python-dwca-reader.

Names of terms, what the registered extensions hold and vocabularies: `darwin_core.json`, with
its sources. Shape of meta.xml: `tdwg_dwc_text.xsd`, the schema of the Darwin Core Text Guide.
What events and occurrences need: Darwin Core Quick Reference Guide, definitions of the terms
(sampleSizeUnit "must have a corresponding sampleSizeValue"; the same of geodeticDatum and the
coordinates is common practice, no source), and the requirements for sampling-event data sets of
the largest aggregator (from memory): eventID, eventDate, samplingProtocol, sample size.
"""

import datetime as dt
import json
import math
import re
import zipfile
from collections import Counter
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from dwca.read import DwCAReader
from lxml import etree

from surveys.publishing.formats import darwincore
from surveys.publishing.formats.yearly_csv import unguard
from surveys.publishing.frozen import Frozen
from tests.support.frozen_rows import (
    HOSTILE,
    SPECIES,
    freeze_rows,
    frozen_by_hand,
)

HERE = Path(__file__).parent
STANDARD = json.loads((HERE / "darwin_core.json").read_text("utf-8"))
TEXT = "{http://rs.tdwg.org/dwc/text/}"
DWC = STANDARD["prefixes"]["dwc"]
OBIS = STANDARD["prefixes"]["obis"]
REGISTERED = {
    f"{DWC}Event": "event",
    f"{DWC}Occurrence": "occurrence",
    "http://rs.iobis.org/obis/terms/ExtendedMeasurementOrFact": "measurement",
}


def in_full(names):
    return {STANDARD["prefixes"][prefix] + name for prefix, name in (n.split(":") for n in names)}


def meters(one, other):
    """Length on the plane that touches the ellipsoid of WGS 84 between two near points: radii of
    curvature in the meridian and in the prime vertical (NGA.STND.0036, from memory)."""
    middle = math.radians((one[0] + other[0]) / 2)
    flat = 1 - (2 - 1 / 298.257223563) / 298.257223563 * math.sin(middle) ** 2
    meridian = 6378137.0 * (1 - 1 / 298.257223563) ** 2 / flat**1.5
    vertical = 6378137.0 / flat**0.5
    north = math.radians(one[0] - other[0]) * meridian
    return math.hypot(north, math.radians(one[1] - other[1]) * vertical * math.cos(middle))


@pytest.fixture(scope="module")
def frozen(tmp_path_factory) -> Frozen:
    return frozen_by_hand(tmp_path_factory.mktemp("frozen"))


@pytest.fixture(scope="module")
def archive(frozen, tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("archive") / "darwin-core.zip"
    darwincore.write(frozen, path)
    return path


@pytest.fixture(scope="module")
def read(archive):
    """Events with their extension rows: (terms, {row type: [terms, …]}), as the reader has them."""
    with DwCAReader(str(archive)) as reader:
        return [
            (
                {term.removeprefix(DWC): text for term, text in event.data.items()},
                {
                    kind: [
                        {
                            term.removeprefix(DWC).removeprefix(OBIS): text
                            for term, text in row.data.items()
                        }
                        for row in event.extensions
                        if REGISTERED[row.rowtype] == kind
                    ]
                    for kind in ("occurrence", "measurement")
                },
            )
            for event in reader
        ]


def test_meta_xml_is_valid_by_the_schema_of_the_text_guide(archive):
    schema = etree.XMLSchema(etree.parse(HERE / "tdwg_dwc_text.xsd"))
    with zipfile.ZipFile(archive) as file:
        schema.assertValid(etree.fromstring(file.read("meta.xml")))


def test_every_term_is_recommended_by_the_standard_and_held_by_its_extension(archive):
    standard = in_full(STANDARD["terms"])
    with zipfile.ZipFile(archive) as file:
        root = ET.fromstring(file.read("meta.xml"))
        for part in root:
            registered = in_full(STANDARD[REGISTERED[part.get("rowType")]])
            terms = [field.get("term") for field in part.iter(f"{TEXT}field")]
            assert len(terms) == len(set(terms))
            assert {term for term in terms if not term.startswith(OBIS)} <= standard
            assert set(terms) <= registered
            # The header line says the same as the description.
            header = file.read(part.find(f"{TEXT}files/{TEXT}location").text).split(b"\n", 1)[0]
            for field in part.iter(f"{TEXT}field"):
                if field.get("index"):
                    name = header.decode().split(",")[int(field.get("index"))]
                    assert field.get("term").removeprefix(OBIS) in {name, DWC + name}


def test_core_is_events_and_metadata_is_eml(archive, frozen):
    with DwCAReader(str(archive)) as reader:
        assert reader.descriptor.core.type == f"{DWC}Event"
        assert reader.descriptor.metadata_filename == "eml.xml"
        assert reader.metadata.find("dataset/title").text == frozen.about.title
        assert {one.type for one in reader.descriptor.extensions} == set(REGISTERED) - {
            f"{DWC}Event"
        }


def test_every_visit_and_listening_period_is_an_event(frozen, read):
    visits = [row["visit"] for row in frozen.records("visits")]
    periods = {row["period"]: row["visit"] for row in frozen.records("periods")}
    ids = [event["eventID"] for event, _ in read]
    assert ids == [*visits, *periods]
    parents = {event["eventID"]: event["parentEventID"] for event, _ in read}
    assert {one: parents[one] for one in periods} == periods
    assert {parents[one] for one in visits} == {""}


def test_what_a_sampling_event_needs(read):
    units = STANDARD["vocabularies"]["sampleSizeUnit"]
    for event, _ in read:
        assert event["samplingProtocol"].startswith("Roadside, version 1")
        assert event["samplingEffort"]
        assert event["eventType"] in {"survey", "siteVisit"}
        assert float(event["sampleSizeValue"]) > 0
        assert event["sampleSizeUnit"] in units
        assert event["locationID"].startswith("hollow-creek:")
        assert event["http://purl.org/dc/terms/license"].startswith("https://creativecommons.org/")


def test_dates_are_intervals_in_local_time_as_long_as_the_sample(read):
    """ISO 8601 (Quick Reference Guide, eventDate); five minutes were listened at each stop."""
    for event, _ in read:
        first, last = map(dt.datetime.fromisoformat, event["eventDate"].split("/"))
        assert first.utcoffset() == last.utcoffset() == dt.timedelta(hours=-5), "Chicago, summer"
        night = re.match(r"Night of (\S+?);", event["eventRemarks"]).group(1)
        assert first.date().isoformat() == night
        if event["eventType"] == "siteVisit":
            assert (last - first).total_seconds() == 60 * float(event["sampleSizeValue"]) == 300


def test_places_are_whole_or_withheld(frozen, read):
    given = {f"hollow-creek:{row['stop']}": row for row in frozen.records("stops")}
    places = ("decimalLatitude", "decimalLongitude", "geodeticDatum",
              "coordinateUncertaintyInMeters", "coordinatePrecision")  # fmt: skip
    for event, _ in read:
        if event["eventType"] == "survey":
            continue
        stop = given[event["locationID"]]
        assert event["dataGeneralizations"] == (stop["data_generalizations"] or "")
        assert event["informationWithheld"] == (stop["information_withheld"] or "")
        if stop["latitude"] is None:
            assert not any(event[name] for name in places)
            assert event["informationWithheld"]
        else:
            assert float(event["decimalLatitude"]) == stop["latitude"]
            assert float(event["decimalLongitude"]) == stop["longitude"]
            assert event["geodeticDatum"] == "EPSG:4326"
            assert float(event["coordinateUncertaintyInMeters"]) == stop["coordinate_uncertainty_m"]
            assert float(event["coordinatePrecision"]) == stop["grid_degrees"]


def test_a_visit_lies_where_all_stops_of_its_route_are(frozen, read):
    """Point and radius (Chapman & Wieczorek 2020, Georeferencing Best Practices, the point-radius
    method: the circle holds the whole of the location, doi:10.15468/doc-gg7h-s853, from memory)."""
    stops = list(frozen.records("stops"))
    surveys = [event for event, _ in read if event["eventType"] == "survey"]
    assert {event["locationID"] for event in surveys} == {"hollow-creek:R01", "hollow-creek:R02"}
    for event in surveys:
        own = [row for row in stops if event["locationID"] == f"hollow-creek:{row['route']}"]
        if event["locationID"].endswith("R02"):
            assert not event["decimalLatitude"]
            assert not event["coordinateUncertaintyInMeters"]
            assert event["informationWithheld"] == "Coordinates are withheld."
            continue
        middle = float(event["decimalLatitude"]), float(event["decimalLongitude"])
        reach = [
            meters(middle, (row["latitude"], row["longitude"])) + row["coordinate_uncertainty_m"]
            for row in own
        ]
        assert max(reach) <= float(event["coordinateUncertaintyInMeters"]) <= max(reach) * 1.02
        assert event["dataGeneralizations"] == own[0]["data_generalizations"]
        assert event["geodeticDatum"] == "EPSG:4326"
        assert event["georeferenceRemarks"]


def test_every_event_says_its_country(read):
    """ISO 3166-1 alpha-2, as the definition of countryCode asks."""
    assert {event["countryCode"] for event, _ in read} == {"US"}


def test_areas_stand_from_large_to_small_and_are_no_states_or_counties(read):
    """“A list (concatenated and separated) of geographic names less specific than the information
    captured in the locality term”, best left to right and separated by “ | ” (Quick Reference
    Guide, higherGeography, from memory)."""
    areas = {event["higherGeography"] for event, _ in read}
    assert areas == {"Hollow County | North", "Hollow County | South"}
    assert not any({"stateProvince", "county"} & set(event) for event, _ in read)


def test_measurements_are_named_by_cf_standard_names(read):
    """Names of the CF Standard Name Table (cfconventions.org) with the addresses that the NERC
    Vocabulary Server gives them (from memory). Where the table has no name, none is given."""
    cf = "http://vocab.nerc.ac.uk/standard_name/"
    named = {
        row["measurementType"]: row["measurementTypeID"]
        for _, extensions in read
        for row in extensions["measurement"]
    }
    assert named["air temperature"] == f"{cf}air_temperature/"
    assert named["air temperature at the start"] == f"{cf}air_temperature/"
    assert named["wind force at the start"] == f"{cf}beaufort_wind_force/"
    assert named["rain in the 48 hours before"] == f"{cf}thickness_of_rainfall_amount/"
    assert named["call index"] == named["water in the wetland"] == ""


def test_a_visit_past_midnight_keeps_its_night(tmp_path):
    """It begins on 10 April at 23:49 and ends on the 11th, in a zone five hours behind UTC; both
    ends have a date of their own (ISO 8601), and the night is that of its evening."""
    start = dt.datetime(2024, 4, 11, 4, 49, tzinfo=dt.UTC)
    visit, period = "00000000-0000-0000-0000-000000000001", "00000000-0000-0000-0000-000000000002"
    at_stop = {
        "period": period,
        "visit": visit,
        "stop": "R01-1",
        "started_at": start,
        "finished_at": start + dt.timedelta(minutes=25),
        "paused": 0,
    }
    night = {
        "visit": visit, "route": "R01", "night": dt.date(2024, 4, 10), "season_year": 2024,
        "visit_number": 1, "protocol": "Roadside", "protocol_version": 1, "observer": "A",
    }  # fmt: skip
    frozen = freeze_rows(
        tmp_path,
        {
            "routes": [{"route": "R01", "protocol": "Roadside", "stops": 1}],
            "stops": [{"stop": "R01-1", "route": "R01", "number": 1}],
            "visits": [night],
            "periods": [at_stop],
        },
    )
    darwincore.write(frozen, tmp_path / "darwin-core.zip")
    with DwCAReader(str(tmp_path / "darwin-core.zip")) as reader:
        events = [event.data for event in reader]
    assert len(events) == 2
    for event in events:
        assert event[f"{DWC}eventDate"] == "2024-04-10T23:49:00-05:00/2024-04-11T00:14:00-05:00"
        assert event[f"{DWC}eventRemarks"].startswith("Night of 2024-04-10;")
        assert event[f"{DWC}sampleSizeValue"] == "25"


def test_occurrences_are_the_calls_and_blank_is_neither(frozen, read):
    """Index 0 is absent, 1 to 3 present; a blank index has no occurrence. Neither has a group of
    which a member was written down: that is the occurrence, and it is not told twice."""
    expected = {
        (row["period"], row["species"]): (
            "present" if row["recorded_index"] or row["far_index"] else "absent"
        )
        for row in frozen.records("calls")
        if row["recorded_index"] or row["call_index"] == 0
    }
    blank = sum(row["call_index"] is None for row in frozen.records("calls"))
    by_member = [
        (row["period"], row["species"])
        for row in frozen.records("calls")
        if row["call_index"] and not row["recorded_index"]
    ]
    assert blank > 0
    assert {species for _, species in by_member} == {SPECIES[1]}
    assert not expected.keys() & set(by_member)
    found = {
        (event["eventID"], row["scientificName"]): row["occurrenceStatus"]
        for event, extensions in read
        for row in extensions["occurrence"]
    }
    assert found == expected
    assert len({row["occurrenceID"] for _, ext in read for row in ext["occurrence"]}) == len(found)


def test_occurrences_keep_to_the_vocabularies(read):
    rows = [row for _, extensions in read for row in extensions["occurrence"]]
    for name in ("basisOfRecord", "occurrenceStatus", "taxonRank"):
        assert {row[name] for row in rows} <= set(STANDARD["vocabularies"][name])
    assert {row["basisOfRecord"] for row in rows} == {"HumanObservation"}
    assert {(row["kingdom"], row["class"], row["order"]) for row in rows} == {
        ("Animalia", "Amphibia", "Anura")
    }
    assert {row["behavior"] for row in rows if row["occurrenceStatus"] == "absent"} == {""}
    assert all(row["recordedBy"] and row["vernacularName"] for row in rows)
    group = [row for row in rows if row["scientificName"] == SPECIES[1]]
    assert {row["taxonRank"] for row in group} == {"speciesAggregate"}
    assert {row["identificationQualifier"] for row in group} == {"not told apart by ear"}


def test_who_identified_it_and_whether_somebody_heard_it_again(frozen, read):
    """identificationVerificationStatus: "a categorical indicator of the extent to which the
    taxonomic identification has been verified to be correct"; identifiedBy: a list of names of the
    people who assigned the taxon, separated by " | " (Darwin Core Quick Reference Guide, from
    memory). What was not heard was not identified."""
    confirmed = {
        (row["period"], row["species"]): row["confirmed_by"]
        for row in frozen.records("calls")
        if row["confirmed_by_ear"]
    }
    assert confirmed
    for event, extensions in read:
        for row in extensions["occurrence"]:
            observer = row["recordedBy"]
            said = row["identificationVerificationStatus"], row["identifiedBy"]
            second = confirmed.get((event["eventID"], row["scientificName"]))
            if row["occurrenceStatus"] == "absent":
                assert said == ("", "")
            elif second:
                assert said == ("confirmed by ear from a recording", f"{observer} | {second}")
            else:
                assert said == ("unconfirmed", observer)


def test_a_call_beyond_the_listening_radius_is_present_and_says_so(frozen, read):
    """occurrenceRemarks: "comments or notes about the dwc:Occurrence" (Darwin Core Quick Reference
    Guide, from memory)."""
    (far,) = [row for row in frozen.records("calls") if row["far_index"]]
    remarks = {
        (event["eventID"], row["scientificName"]): row["occurrenceRemarks"]
        for event, extensions in read
        for row in extensions["occurrence"]
        if row["occurrenceRemarks"]
    }
    ((key, words),) = remarks.items()
    assert key == (far["period"], far["species"])
    assert "beyond the listening radius" in words
    (measured,) = [
        row
        for _, extensions in read
        for row in extensions["measurement"]
        if row["measurementType"] == "call index beyond the listening radius"
    ]
    assert int(measured["measurementValue"]) == far["far_index"]


def test_call_index_hangs_on_its_occurrence(frozen, read):
    indices = {}
    for event, extensions in read:
        statuses = {row["occurrenceID"]: row for row in extensions["occurrence"]}
        for row in extensions["measurement"]:
            if row["measurementType"] == "call index":
                occurrence = statuses[row["occurrenceID"]]
                assert occurrence["occurrenceStatus"] == "present"
                key = event["eventID"], occurrence["scientificName"]
                indices[key] = int(row["measurementValue"])
                assert "not a count" in row["measurementMethod"]
            elif "beyond" not in row["measurementType"]:
                assert row["occurrenceID"] == ""
    assert indices == {
        (row["period"], row["species"]): row["recorded_index"]
        for row in frozen.records("calls")
        if row["recorded_index"]
    }


def test_measurements_are_the_cells_with_their_units(frozen, read):
    counted = Counter(
        (row["measurementType"], row["measurementUnit"])
        for _, extensions in read
        for row in extensions["measurement"]
        if not row["measurementType"].startswith("call index")
    )
    periods, visits = list(frozen.records("periods")), list(frozen.records("visits"))
    assert counted == {
        ("minutes after sunset", "minute"): len(periods),
        ("air temperature", "°C"): len(periods),
        ("water in the wetland", ""): len(periods),
        ("air temperature at the start", "°C"): len(visits),
        ("wind force at the start", "Beaufort"): len(visits),
        ("rain in the 48 hours before", "mm"): len(visits),
        ("Salinity", "ppt"): len(periods),
        ("'" + HOSTILE[0], ""): len(periods),
        ("Ditch mown", ""): len(visits),
    }
    own = {
        (row["measurementType"], row["measurementValue"])
        for _, extensions in read
        for row in extensions["measurement"]
        if ":own." in row["measurementID"]
    }
    # A choice by its name, not by the key that is stored.
    assert own == {
        ("Salinity", "12.5"),
        ("'" + HOSTILE[0], "'" + HOSTILE[2]),
        ("Ditch mown", "true"),
    }
    ids = [row["measurementID"] for _, ext in read for row in ext["measurement"]]
    assert len(ids) == len(set(ids))


def test_nothing_hangs_in_the_air(archive):
    """Each row of an extension belongs to an event; the reader finds none that does not."""
    with DwCAReader(str(archive)) as reader:
        assert reader.orphaned_extension_rows() == {
            "occurrence.csv": {},
            "measurement.csv": {},
        }


def test_hostile_texts_are_guarded(archive, frozen):
    with zipfile.ZipFile(archive) as file:
        text = file.read("event.csv").decode()
    habitat = {row["habitat"] for row in frozen.records("stops")}
    assert any(text_.startswith("=") for text_ in habitat)
    with DwCAReader(str(archive)) as reader:
        found = {row.data[f"{DWC}habitat"] for row in reader} - {""}
    assert not any(one.startswith(("=", "+", "-", "@", "\t", "\r", "\n")) for one in found)
    flat = {" ".join(f"{one}".split()) for one in habitat}
    assert {unguard(one).split("; fish")[0] for one in found} == flat
    assert text.count("\n") == 1 + len([*frozen.rows("visits"), *frozen.rows("periods")])


def test_a_publication_without_times_or_places_is_whole_too(tmp_path):
    """Old paper sheets have nights without clock times; all places may be withheld."""
    night = dt.date(1999, 4, 10)
    frozen = freeze_rows(
        tmp_path,
        {
            "routes": [{"route": "R1", "protocol": "Roadside", "stops": 1}],
            "stops": [{"stop": "R1_1", "route": "R1", "number": 1, "active_from": night,
                       "information_withheld": "Coordinates."}],
            "checklist": [{"species": "Pseudacris crucifer", "code": "a", "common_name": "Peeper",
                           "is_group": False}],
            "visits": [{"visit": "v", "route": "R1", "night": night, "season_year": 1999,
                        "visit_number": 1, "day": 99, "protocol": "Roadside",
                        "protocol_version": 1, "observer": "Observer 7"}],
            "periods": [{"period": "p", "visit": "v", "stop": "R1_1"}],
            "calls": [{"period": "p", "species": "Pseudacris crucifer", "call_index": 0}],
        },
        url="",
        contact_email="",
    )  # fmt: skip
    darwincore.write(frozen, tmp_path / "a.zip")
    with DwCAReader(str(tmp_path / "a.zip")) as reader:
        visit, period = ({k.removeprefix(DWC): v for k, v in row.data.items()} for row in reader)
        assert reader.metadata.find("dataset/coverage/geographicCoverage") is None
    assert visit["eventDate"] == period["eventDate"] == "1999-04-10"
    assert (period["sampleSizeValue"], period["sampleSizeUnit"]) == ("", "")
    assert period["geodeticDatum"] == ""


def test_the_same_tables_give_the_same_bytes(frozen, archive, tmp_path):
    darwincore.write(frozen, tmp_path / "again.zip")
    assert (tmp_path / "again.zip").read_bytes() == archive.read_bytes()
