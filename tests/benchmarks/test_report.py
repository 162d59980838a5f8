"""What the report costs: its time against the least that its pages need, measured in one run.

The floor draws the same pictures and sets the same words as plain paragraphs on pages of the same
size. Above it the report has tables, the map, small pictures and the tags for screen readers.
"""

import datetime as dt
import re
import time

import pytest
from weasyprint import CSS, HTML

from surveys.charts.shares import (
    species_spec,
    to_svg,
)
from surveys.publishing.formats import report
from surveys.publishing.species_summaries import species_summaries
from tests.support.frozen_rows import freeze_rows

pytestmark = pytest.mark.benchmark

SPECIES, YEARS = 10, range(2014, 2026)
MOST = 4.0


def rows(count):
    species = [f"Genus{n} species{n}" for n in range(count)]
    day = dt.date(2014, 4, 1)
    return {
        "routes": [{"route": f"R{n}", "protocol": "Roadside", "stops": 10} for n in range(14)],
        "stops": [
            {"stop": f"R{route}_{n}", "route": f"R{route}", "number": n, "grid_degrees": 0.01,
             "latitude": 44.505 + route / 20, "longitude": -93.105 + n / 100,
             "coordinate_uncertainty_m": 711, "active_from": day}
            for route in range(14)
            for n in range(10)
        ],
        "checklist": [
            {"species": one, "code": one[:6], "common_name": one, "is_group": False}
            for one in species
        ],
        "occupancy": [
            {"species": one, "site": "stop", "season_year": year, "sites": 140,
             "sites_heard": 56, "naive": 0.4, "naive_low": 0.32, "naive_high": 0.48,
             "occupancy": 0.5, "occupancy_low": 0.4, "occupancy_high": 0.6, "detection": 0.7,
             "trend": 0.5, "trend_low": 0.45, "trend_high": 0.55}
            for one in species
            for year in YEARS
        ],
        "trends": [
            {"species": one, "site": "stop", "first_year": 2014, "last_year": 2025,
             "change": -1.0, "change_low": -2.0, "change_high": 0.5}
            for one in species
        ],
    }  # fmt: skip


def costs(folder, count):
    """Seconds of the floor and of the report on so many species."""
    folder.mkdir()
    frozen = freeze_rows(folder, rows(count))
    text, _ = report.html_of(frozen)
    words = re.sub(r"<[^>]+>", " ", re.sub(r"(?s)<head>.*?</head>", "", text))
    plain = "".join(f"<p>{line}</p>" for line in words.splitlines() if line.strip())
    begun = time.process_time()
    for summary in species_summaries(frozen, site=report.SITE):
        to_svg(species_spec(report.chart_of(summary, frozen.about)))
    HTML(string=plain).write_pdf(
        folder / "floor.pdf", stylesheets=[CSS(string="@page { size: A4 }")]
    )
    floored = time.process_time()
    report.write(frozen, folder / "report.pdf")
    return floored - begun, time.process_time() - floored


def test_report_against_its_pictures_and_words(tmp_path, record_property):
    costs(tmp_path / "warm", 1)
    floor, spent = costs(tmp_path / "timed", SPECIES)
    record_property("report", f"{spent:.2f} s, floor {floor:.2f} s")
    assert spent < MOST * floor, f"{spent:.2f} s, floor {floor:.2f} s, {spent / floor:.1f} times"
