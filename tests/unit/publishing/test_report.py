"""The report as a reader gets it: read back from the PDF, page by page."""

import datetime as dt
import hashlib
import re
from pathlib import Path
from types import SimpleNamespace

import pytest
from pypdf import PdfReader
from weasyprint.formatting_structure.boxes import ReplacedBox, TextBox
from weasyprint.urls import FatalURLFetchingError

from surveys.charts.chart_alt import chart_alt
from surveys.charts.shares import (
    species_spec,
    to_svg,
)
from surveys.charts.words import (
    trend_sentence,
)
from surveys.publishing.formats import report
from surveys.publishing.formats.far_and_own import far_calls
from surveys.publishing.frozen import Frozen
from surveys.publishing.species_summaries import species_summaries
from tests.support.frozen_rows import (
    freeze_rows,
    frozen_by_hand,
)

YEARS = (2019, 2020, 2021, 2022, 2023, 2024, 2025)
FALLING, RISING, UNCLEAR, UNKNOWN, UNSEEN = (
    "Lithobates pipiens", "Dryophytes versicolor", "Pseudacris crucifer",
    "Pseudacris maculata / triseriata", "Lithobates capito",
)  # fmt: skip
NAMES = {
    FALLING: "Northern leopard frog",
    RISING: "Gray treefrog",
    UNCLEAR: "Spring peeper",
    UNKNOWN: "Boreal <or> western chorus frog",
    UNSEEN: "Gopher frog",
}
CHANGES = {
    FALLING: (-9.8, -15.0, -4.4),
    RISING: (4.6, 0.8, 8.5),
    UNCLEAR: (-0.6, -1.7, 0.6),
}
POINT = 2.83465  # a millimeter
METHOD = """Title
=====

Made with invented software. No visit was still in review.

What is counted
---------------
- Accepted visits only, and a share of 95% of them goes
  on to a second line.

Read with care
--------------
- Stops along roads are not a random sample of wetlands.
"""


def _year(species, number, year):
    row = {
        "species": species, "site": "stop", "season_year": year, "sites": 40, "sites_heard": 12,
        "naive": 0.3, "naive_low": 0.18, "naive_high": 0.455, "detection_model": "night",
    }  # fmt: skip
    if species == UNKNOWN:
        return {**row, "flags": "no repeat visits; not identified"}
    share = 0.4 + 0.02 * number
    return {
        **row,
        "occupancy": share, "occupancy_low": share - 0.1, "occupancy_high": share + 0.15,
        "detection": 0.62, "detection_low": 0.55, "detection_high": 0.69,
        "trend": share, "trend_low": share - 0.05, "trend_high": share + 0.05,
        **({"whole": 0.25, "whole_low": 0.2, "whole_high": 0.3} if species == RISING else {}),
    }  # fmt: skip


def _trend(species):
    row = {
        "species": species, "site": "stop", "first_year": YEARS[0], "last_year": YEARS[-1],
        "detection_model": "night-temperature", "occupancy_model": "year-fish",
    }  # fmt: skip
    if species not in CHANGES:
        return {**row, "flags": "no repeat visits; not identified"}
    value, low, high = CHANGES[species]
    whole = {"whole_change": -3.0, "whole_change_low": -5.0, "whole_change_high": -1.0,
             "whole_flags": "region-silent", "chorus_change": 2.0,
             "chorus_change_low": 1.0, "chorus_change_high": 3.0}  # fmt: skip
    changes = {"change": value, "change_low": low, "change_high": high}
    return {**row, **changes, **(whole if species == RISING else {})}


def rows(years=YEARS, species=tuple(NAMES), names=NAMES):
    night = dt.date(2024, 4, 20)
    return {
        "routes": [{"route": "R01", "protocol": "Roadside", "stops": 2}],
        "stops": [
            {"stop": f"R01_{n}", "route": "R01", "number": n, "latitude": 44.5 + n / 100,
             "longitude": -93.1, "coordinate_uncertainty_m": 711, "grid_degrees": 0.01,
             "data_generalizations": "Coordinates are the middle of a grid cell of 0.01°.",
             "information_withheld": "Exact coordinates, names of routes and stops.",
             "active_from": night}
            for n in (1, 2)
        ],
        "protocols": [
            {"protocol": "Roadside", "version": 3, "in_force_from": dt.date(2015, 3, 1),
             "limits": "Listening time: 5 min; Listening radius: 100 m; calls are near or far; "
                       "Wind: at most Beaufort 3",
             "windows": "Early: 5 April to 30 April", "source": "Own field trials."},
        ],
        "checklist": [
            {"species": one, "code": f"code-{n}", "common_name": names[one],
             "is_group": one == UNKNOWN, "calls_from": "03-20", "calls_to": "05-05"}
            for n, one in enumerate(species)
        ],
        "visits": [
            {"visit": f"v{year}", "route": "R01", "night": dt.date(year, 4, 20),
             "season_year": year, "visit_number": 1, "day": 110, "protocol": "Roadside",
             "protocol_version": 3, "observer": "Observer 3f2a"}
            for year in years
        ],
        "periods": [
            {"period": f"p{year}{n}", "visit": f"v{year}", "stop": f"R01_{n}"}
            for year in years
            for n in (1, 2)
        ],
        "yearly": [
            {"species": one, "season_year": year, "routes": 1, "stops": 2, "visits": 1,
             "periods": 2, "stops_detected": 1, "first_night": dt.date(year, 4, 2),
             "last_night": dt.date(year, 6, 9)}
            for one in species
            for year in years
        ],
        "occupancy": [
            _year(one, n, year)
            for one in species
            for n, year in enumerate(years)
            if one != UNSEEN
        ],
        "trends": [_trend(one) for one in species],
        "sensitivity": [
            {"species": FALLING, "site": "stop", "number": 1, "choice": "all-data",
             "applies": True, "change": -9.8, "change_low": -15.0, "change_high": -4.4},
            {"species": FALLING, "site": "stop", "number": 2, "applies": True,
             "choice": "by-route",
             "change": -4.0, "change_low": -9.0, "change_high": 1.5},
        ],
    }  # fmt: skip


@pytest.fixture(scope="module")
def frozen(tmp_path_factory) -> Frozen:
    return freeze_rows(tmp_path_factory.mktemp("frozen"), rows(), method=METHOD)


@pytest.fixture(scope="module")
def path(frozen, tmp_path_factory) -> Path:
    target = tmp_path_factory.mktemp("made") / "report.pdf"
    report.write(frozen, target)
    return target


@pytest.fixture(scope="module")
def pdf(path):
    return PdfReader(path)


def plain(text):
    return " ".join(text.replace("\N{NO-BREAK SPACE}", " ").split())


@pytest.fixture(scope="module")
def pages(pdf):
    return [plain(page.extract_text()) for page in pdf.pages]


@pytest.fixture(scope="module")
def of_species(pages):
    """What the report says of each species that has a section, from its heading on."""
    rest = " ".join(pages[2:])
    told = {}
    for scientific, name in reversed(list(NAMES.items())):
        if (heading := f"{name} {scientific}") in rest:
            rest, _, told[scientific] = rest.rpartition(heading)
    return told


def test_front_page_tells_the_whole(pages):
    front = pages[0]
    assert "Hollow Creek Night Count" in front
    assert "Season years 2024 to 2025 · version 2, published 3 September 2025" in front
    assert "This version replaces version 1. Why: A visit was entered for the wrong night." in front
    assert (
        "Of 5 species, 1 falls, 1 rises, 1 shows no clear change and 2 have no reported trend."
        in front
    )
    for name in NAMES.values():
        assert name in front
    assert "▼ falling −9.8% (−15.0 to −4.4%)" in front
    assert "▲ rising +4.6% (+0.8 to +8.5%)" in front
    assert "◆ no clear change −0.6% (−1.7 to +0.6%)" in front
    assert "? no trend reported no repeat visits" in front
    assert "? no trend reported not surveyed in its calling season yet" in front
    assert "2 stops" in front
    assert "14 listening periods" in front
    assert (
        "All 2 stops: Coordinates are the middle of a grid cell of 0.01°. Not given: exact "
        "coordinates, names of routes and stops." in front
    )


@pytest.mark.parametrize(
    ("ways", "sentence"),
    [
        (["falling", "falling"], "Of 2 species, 2 fall."),
        (["rising", "no trend reported"], "Of 2 species, 1 rises and 1 has no reported trend."),
        (
            ["falling", "no clear change", "no clear change"],
            "Of 3 species, 1 falls and 2 show no clear change.",
        ),
        (["no trend reported"] * 3, "For none of the 3 species can a direction be given."),
    ],
)
def test_overview_in_one_sentence(ways, sentence):
    assert report.overview([SimpleNamespace(way=way) for way in ways]) == sentence


def test_species_with_the_sentence_of_the_screen(frozen, of_species):
    summaries = species_summaries(frozen, site="stop")
    assert [summary.scientific_name for summary in summaries] == list(NAMES)
    assert set(of_species) == set(NAMES) - {UNSEEN}
    for summary in summaries[:-1]:
        page = of_species[summary.scientific_name]
        assert plain(trend_sentence(summary.name, summary.result, "stop")) in page
        assert "calling season 20 March to 5 May" in page
        assert "2 Apr – 9 Jun" in page
        assert "30% (18 to 46%)" in page
        assert all(str(year) in page for year in YEARS)
    assert "40% (30 to 55%) 62%" in of_species[FALLING]
    assert "a group that cannot be told apart by ear" in of_species[UNKNOWN]
    assert "b not estimable: The data cannot tell the parameters" in of_species[UNKNOWN]
    assert "In the trend it depends on: night and temperature." in of_species[FALLING]
    assert "Where the species lives depends there on: year and fish." in of_species[FALLING]


def test_species_that_were_never_surveyed_share_a_list(tmp_path):
    unseen = (UNSEEN, "Dryophytes avivoca", "Dryophytes squirella")
    named = {**NAMES, unseen[1]: "Bird-voiced treefrog", unseen[2]: "Squirrel treefrog"}
    made = rows(species=tuple(named), names=named)
    made["occupancy"] = [row for row in made["occupancy"] if row["species"] not in unseen]
    text, _ = report.html_of(freeze_rows(tmp_path, made, method=METHOD))
    assert text.count('<section class="species">') == 4 + 1
    listed = plain(text.partition('id="not-surveyed"')[2].partition("</section>")[0])
    for name in unseen:
        assert f"{named[name]}, <i>{name}</i>, 20 March to 5 May" in listed
        assert f'<a href="#not-surveyed">{named[name]}</a>' in text


def test_far_calls_are_counted_and_said_to_be_no_detections(tmp_path):
    made = rows()
    made["calls"] = [
        {"period": f"p{year}{n}", "species": one, **index}
        for year, n, one, index in (
            (2024, 1, FALLING, {"call_index": 2, "recorded_index": 2}),
            (2024, 2, FALLING, {"call_index": 0, "far_index": 3}),
            (2025, 1, FALLING, {"call_index": 0, "far_index": 1}),
            (2025, 2, RISING, {"call_index": 1, "recorded_index": 1}),
            (2025, 1, RISING, {"call_index": 0}),
        )
    ]
    frozen = freeze_rows(tmp_path, made, method=METHOD)
    told = far_calls(frozen)
    assert told.species == (("Northern leopard frog", 1, 2),)
    words = plain(report.html_of(frozen)[0])
    assert (
        "Of 4 records of a species at a stop, 2 were from beyond the listening radius. Far calls "
        "count as not heard: each share is of stops with the species within the radius." in words
    )
    assert "Northern leopard frog</th> <td>1</td> <td>2</td>" in words


def test_own_fields_are_named_with_the_file_of_their_values(tmp_path):
    made = rows()
    made["own_fields"] = [
        {"field": "salinity", "name": "Salinity", "meaning": "At the edge", "kind": "number",
         "asked": "stop", "unit": "ppt", "minimum": 0.0, "maximum": 45.5},
        {"field": "shore", "name": "Shore <or> bank", "kind": "choice", "asked": "visit",
         "choices": "reed = Reed bed; open = Open shore"},
    ]  # fmt: skip
    made["own_values"] = [
        {"event": event, "visit": "v2024", "field": "salinity", "value": "12.5"}
        for event in ("p20241", "p20242")
    ]
    frozen = freeze_rows(tmp_path, made, method=METHOD)
    words = plain(re.sub(r"<[^>]*>", " ", report.html_of(frozen)[0]))
    assert "Their values are in data/own_values.csv" in words
    assert "Salinity (salinity) At the edge Number At each stop ppt 0 to 45.5 2" in words
    assert (
        "Shore &lt;or&gt; bank (shore) Choice from a list Once per visit reed = Reed bed; open = "
        "Open shore 0" in words
    )


def test_a_program_without_them_has_no_such_sections(frozen):
    text, _ = report.html_of(frozen)
    assert "Near and far calls" not in text
    assert "Own fields" not in text


def test_the_whole_program_stands_with_its_species_only(of_species):
    rising, falling = of_species[RISING], of_species[FALLING]
    assert (
        "In the whole program, with its regions weighted, the share of occupied stops fell"
        in rising
    )
    assert "40% (30 to 55%) 25% (20 to 30%) 62%" in rising
    assert "never heard in a region: The species was never heard in a region." in rising
    assert "hole program" not in falling
    assert "Full chorus: the share of stops with it rose by 2.0% per year" in rising
    assert "Full chorus" not in falling


def test_then_method_limits_cautions_thanks_and_license(pages):
    text = " ".join(pages)
    for words in (
        "How the numbers were calculated Made with invented software.",
        "What is counted Accepted visits only, and a share of 95% of them goes on to a second",
        "Read with care Stops along roads are not a random sample of wetlands.",
        "Roadside, version 3 In effect from 1 March 2015. Source of its limits: Own field trials.",
        "Listening radius 100 m; calls are near or far Wind at most Beaufort 3",
        "Window Early: 5 April to 30 April",
        "When you go out to listen Roads and wetlands at night can hurt people and animals.",
        "Skip any stop that feels wrong",
        "Thanks to Ada Marsh, Wren Holloway, and 1 observer not named here.",
        "CC-BY-4.0, https://creativecommons.org/licenses/by/4.0/",
        "Hollow Creek Night Count (2025). Version 2.",
        "https://example.org/hollow-creek/publications/2025/2/",
    ):
        assert words in text
    assert "Observer 3f2a" not in " ".join(pages)


def test_checksums_of_the_tables_stand_on_the_last_page(frozen, pages):
    assert all("Checksums of the tables: last page" in page for page in pages)
    for name in ("stops", "calls", "trends"):
        sums = hashlib.sha256((frozen.folder / f"data/{name}.csv").read_bytes()).hexdigest()
        assert f"data/{name}.csv {sums}" in pages[-1]


def test_pages_are_numbered_and_named(pages):
    # Front, effort, four for five species, two of method with limits, cautions, the end.
    assert len(pages) == 10
    for number, page in enumerate(pages, start=1):
        assert f"{number} / 10" in page
        running = "Hollow Creek Night Count · Season years 2024 to 2025 · version 2"
        assert (running in page) == (number > 1)


def test_metadata_language_bookmarks_and_tags(pdf):
    meta, root = pdf.metadata, pdf.trailer["/Root"]
    assert meta.title == "Hollow Creek Night Count, season years 2024 to 2025, version 2"
    assert meta.author == "Hollow Creek Night Count"
    assert meta.creator == "Duskpool 0.1.0"
    assert meta.creation_date.date() == meta.modification_date.date() == dt.date(2025, 9, 3)
    assert root["/Lang"] == "en"
    assert root["/MarkInfo"]["/Marked"]
    # PDF/UA-1 says so in its metadata (ISO 14289-1, 5).
    assert b"pdfuaid:part" in root["/Metadata"].get_data()
    titles = [one.title for one in _flat(pdf.outline)]
    own = [name for species, name in NAMES.items() if species != UNSEEN]
    for title in ("Hollow Creek Night Count", *own, "Not surveyed yet", "Effort", "Thanks",
                  "When you go out to listen", "Checksums of the tables"):  # fmt: skip
        assert title in titles


def _flat(outline):
    for one in outline:
        if isinstance(one, list):
            yield from _flat(one)
        else:
            yield one


def _figures(node, found):
    if isinstance(node, list):
        for one in node:
            _figures(one.get_object(), found)
    elif hasattr(node, "get"):
        if node.get("/S") == "/Figure":
            found.append(node.get("/Alt"))
        if "/K" in node:
            _figures(node["/K"].get_object(), found)
    return found


def test_every_picture_says_what_it_shows(frozen, pdf):
    alts = _figures(pdf.trailer["/Root"]["/StructTreeRoot"], [])
    summaries = species_summaries(frozen, site="stop")
    assert alts[0].startswith("Map of 1 route with 2 stops, from 44.5° to 44.5° of latitude")
    assert alts[1:6] == [
        f"Small picture of {summary.name}: {report.direction(summary.result)}."
        for summary in summaries
    ]
    assert alts[6:] == [
        chart_alt(summary.name, summary.result, "stop")
        for summary in summaries
        if summary.result.years
    ]


def test_picture_is_that_of_the_page(frozen):
    """The very file that the page of a species shows for the same numbers and title."""
    drawn = report.draw(frozen)
    for page in drawn.pages:
        if page.picture:
            title = f"{page.summary.name}, Hollow Creek Night Count"
            chart = report.species_chart(page.summary.result, site="stop", title=title)
            assert drawn.pictures[page.picture] == to_svg(species_spec(chart))


def test_pictures_reach_the_paper(frozen):
    text, drawn = report.html_of(frozen)
    boxes = [
        box
        for page in report.laid_out(text, drawn).pages
        for box in page._page_box.descendants()
        if isinstance(box, ReplacedBox)
    ]
    assert len(boxes) == len(drawn.pictures) == text.count("<img")
    assert all(box.width > 20 * POINT and box.height > 10 * POINT for box in boxes)


def test_nothing_but_the_drawn_pictures_is_ever_loaded(frozen):
    text, drawn = report.html_of(frozen)
    for address in ("https://example.org/a.png", "file:///etc/hostname", "picture:other"):
        with pytest.raises(FatalURLFetchingError, match=re.escape(f'Error fetching "{address}"')):
            report.laid_out(text.replace('src="picture:map"', f'src="{address}"'), drawn)


@pytest.mark.parametrize("case", ["long", "hostile", "bare"])
def test_nothing_runs_over_the_edge(case, tmp_path):
    """Long names and thirty years; texts made to break pages; no places, no periods."""
    if case == "long":
        species = tuple(f"Genus{n} species{n}" for n in range(12))
        names = {one: f"Extraordinarily long-named western {one}" for one in species}
        years = tuple(range(1996, 2026))
        changes = {"program": "Night Calling Survey of the Upper and Lower Hollow Creek " * 2}
        frozen = freeze_rows(tmp_path, rows(years, species, names), method=METHOD, **changes)
    elif case == "hostile":
        frozen = frozen_by_hand(tmp_path, program="<script>alert(1)</script> & more")
    else:
        bare = rows(species=(FALLING,))
        bare["stops"] = [
            {"stop": "R01_1", "route": "R01", "number": 1, "active_from": dt.date(2020, 1, 1),
             "data_generalizations": "No coordinates; the region of the route only."}
        ]  # fmt: skip
        bare["periods"] = []
        frozen = freeze_rows(tmp_path, bare, observers=(), observer_count=1, reason="", url="",
                             contact_email="", first_year=2025)  # fmt: skip
    text, drawn = report.html_of(frozen)
    document = report.laid_out(text, drawn)
    over = [
        (number, box.text)
        for number, page in enumerate(document.pages, start=1)
        for box in page._page_box.descendants()
        if isinstance(box, TextBox) and not _within(box, page)
    ]
    assert over == []
    words = plain(text)
    if case == "long":
        # Front, effort, less than two pages a species, and the end.
        assert len(document.pages) <= 2 + 2 + 2 * 12 - 4 + 4
        assert _nearly_empty(document.pages[3:-6]) == []
    elif case == "hostile":
        assert "<script>" not in text
        assert "&lt;script&gt;alert(1)&lt;/script&gt; &amp; more" in text
    else:
        assert "There is no map, because all locations are withheld." in words
        assert "Thanks to 1 observer not named here." in words
        assert "Season year 2025" in words
        assert "replaces version" not in words


def _within(box, page):
    edge = 15 * POINT * 96 / 72
    return (
        box.position_x >= edge
        and box.position_x + box.width <= page.width - edge
        and 0 <= box.position_y <= page.height
    )


def _nearly_empty(pages):
    """Numbers of those whose text ends in the upper half."""
    ends = [
        max(
            box.position_y + box.height
            for box in page._page_box.children[0].descendants()
            if isinstance(box, TextBox)
        )
        for page in pages
    ]
    return [number for number, end in enumerate(ends) if end < pages[number].height / 2]


def test_the_same_tables_give_the_same_bytes(frozen, path, tmp_path):
    report.write(frozen, tmp_path / "again.pdf")
    assert (tmp_path / "again.pdf").read_bytes() == path.read_bytes()


def test_a_species_says_whether_its_sentence_stands(of_species):
    page = of_species[FALLING]
    assert "by route instead of by stop" in page
    assert "Under other choices: The answer differs under 1 of 1 other choices" in page
    assert "no clear change" in page
