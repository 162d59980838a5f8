"""A publication's tables, read back into listening periods and fitted."""

import csv
import datetime as dt
import os
import shutil
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from surveys.protocol.values import NoiseEffect
from surveys.publishing.formats import reproduce
from surveys.publishing.frozen import Frozen, write_table
from surveys.publishing.results import add_trends
from surveys.publishing.tables import TABLE
from surveys.trends import estimates
from surveys.trends.analysis import Parts, analyze
from surveys.trends.from_tables import fit_species, null_runs, read_periods
from surveys.trends.joint_entries import JointEntry, ToldEntry
from surveys.trends.null_run import NullRun
from surveys.trends.periods import NOISE, TRACE_OF_RAIN_MM, Listed, in_region, species_periods
from surveys.trends.result_tables import yearly_rows
from tests.support.frozen_rows import about

ROOT = Path(__file__).parents[3]
SCRIPT = Path(reproduce.__file__).parent / "scripts/reproduce.py"
# Columns beside those that are read, and in another order, as a publication has them.
TABLES = {
    "regions": "region,weight,weight_is\n",
    "checklist": """\
common_name,species,members,listed_from,listed_until,calls_from,calls_to
peeper,Pseudacris crucifer,,,,03-01,06-15
gopher frog,Lithobates capito,,2023-01-01,2023-12-31,,
""",
    "routes": """\
name,route,region,chosen
'=One,R1,North,heard
Two,R2,'=South,random
""",
    "stops": """\
stop,habitat,hydroperiod,fish,number,active_from,active_until
S1,marsh,always,yes,1,2020-01-01,
S2,,season,no,2,2020-01-01,2023-12-31
S3,ditch,weeks,unknown,1,2021-03-01,
""",
    "protocols": """\
protocol,version,listening
Roadside,1,five minutes
Roadside,2,three minutes
Ponds,1,five minutes
""",
    "seasons": """\
season_year,open
2023,false
2024,true
""",
    "visits": """\
visit,route,season_year,night,visit_number,day,rain_48h,rain_trace,protocol,protocol_version,first_season
V1,R1,2023,2023-04-02,1,91,12.7,false,Roadside,1,true
V2,R2,2023,2023-05-20,2,139,,true,Ponds,1,false
V3,R1,2024,2024-02-29,1,59,,,Roadside,2,false
""",
    "periods": """\
period,visit,stop,air_temperature,beaufort,noise,water_tonight,minutes_after_sunset
P1,V1,S1,11.5,2,quiet,full,35
P2,V1,S2,,,heard_through,pools,47.5
P3,V2,S3,18,0,,dry,-3
P4,V3,S1,9,3,faint_lost,,60
""",
    "calls": """\
recorded_index,period,species,call_index,confirmed_by_ear,checked_by_ear
3,P1,Pseudacris crucifer,3,true,true
,P1,Lithobates capito,0,,
,P2,Pseudacris crucifer,,,
1,P3,Lithobates capito,1,false,true
""",
}
NAN = float("nan")


@pytest.fixture
def folder(tmp_path):
    for name, text in TABLES.items():
        (tmp_path / f"{name}.csv").write_text(text, encoding="utf-8", newline="")
    return tmp_path


@pytest.fixture
def frozen(folder):
    return read_periods(folder)


def test_who_was_listened_for(frozen):
    assert frozen.species == ("Pseudacris crucifer", "Lithobates capito")
    assert frozen.periods.listed == {
        0: Listed(since=None, until=None, season=((3, 1), (6, 15))),
        1: Listed(since=dt.date(2023, 1, 1), until=dt.date(2023, 12, 31), season=None),
    }


def test_confirmed_calls_are_certain(frozen):
    assert species_periods(frozen.periods, 0).columns.certain.tolist() == [True, False, False]
    assert species_periods(frozen.periods, 1).columns.certain is None


def test_checked_calls_are_told_apart(frozen, folder):
    assert species_periods(frozen.periods, 0).columns.checked.tolist() == [True, False, False]
    assert species_periods(frozen.periods, 1).columns.checked.tolist() == [False, False, True]
    # Publications from before do not say it.
    calls = folder / "calls.csv"
    lines = calls.read_text(encoding="utf-8").splitlines()
    calls.write_text("\n".join(line.rpartition(",")[0] for line in lines), encoding="utf-8")
    before = species_periods(read_periods(folder).periods, 1)
    assert before.columns.checked is None
    assert before.sha256 != species_periods(frozen.periods, 1).sha256


def test_where_and_when(frozen):
    columns = frozen.periods.columns
    assert columns.route.tolist() == [0, 0, 1, 0]
    assert columns.stop.tolist() == [0, 1, 2, 0]
    assert columns.season_year.tolist() == [2023, 2023, 2023, 2024]
    assert [dt.date.fromordinal(night).isoformat() for night in columns.night.tolist()] == [
        "2023-04-02", "2023-04-02", "2023-05-20", "2024-02-29",
    ]  # fmt: skip
    assert columns.visit_number.tolist() == [1, 1, 2, 1]
    assert frozen.periods.day.tolist() == [91, 91, 139, 59]


def test_a_text_behind_an_apostrophe_is_read_without_it(frozen):
    assert frozen.periods.region.tolist() == ["North", "North", "=South", "North"]


def test_regions_have_the_weights_of_the_program(folder, frozen):
    assert frozen.periods.weights == {}
    assert species_periods(frozen.periods, 0).region is None
    (folder / "regions.csv").write_text("weight,region\n2.5,North\n0,'=South\n", "utf-8")
    periods = read_periods(folder).periods
    assert periods.weights == {"North": 2.5, "=South": 0.0}
    peeper = species_periods(periods, 0)
    assert peeper.region.tolist() == ["North", "=South", "North"]
    assert in_region(peeper, "=South").columns.stop.tolist() == [2]
    assert peeper.sha256 != species_periods(frozen.periods, 0).sha256


def test_how_it_was_listened_and_by_whom(frozen):
    """Versions with the same text are one way of listening, whatever their protocol."""
    columns, periods = frozen.periods.columns, frozen.periods
    assert columns.way.tolist() == [0, 0, 0, 1]
    assert columns.first_season.tolist() == [True, True, False, False]
    assert periods.chosen == {0: "heard", 1: "random"}
    since, moved = dt.date(2020, 1, 1).toordinal(), dt.date(2021, 3, 1).toordinal()
    assert periods.in_use == {
        0: (since, None), 1: (since, dt.date(2023, 12, 31).toordinal()), 2: (moved, None),
    }  # fmt: skip
    assert periods.open_year == 2024
    assert species_periods(periods, 0).open_year == 2024
    assert species_periods(periods, 1).open_year is None


def test_what_the_evening_was_like(frozen):
    expected = {
        "temperature": [11.5, NAN, 18, 9],
        "wind": [2, NAN, 0, 3],
        "noise": [0, 1, NAN, 2],
        "rain": [12.7, 12.7, TRACE_OF_RAIN_MM, NAN],
        "water": [2, 1, 0, NAN],
        "minutes after sunset": [35, 47.5, -3, 60],
    }
    covariates = frozen.periods.columns.covariates
    assert covariates.keys() == expected.keys()
    for name, values in expected.items():
        np.testing.assert_array_equal(covariates[name], values, err_msg=name)


def test_noise_in_numbers_as_publications_had_it_before(folder, frozen):
    periods = (
        (folder / "periods.csv")
        .read_text("utf-8")
        .replace("beaufort,noise,", "beaufort,noise_index,")
    )
    for step, word in enumerate(("quiet", "heard_through", "faint_lost")):
        periods = periods.replace(word, str(step))
    (folder / "periods.csv").write_text(periods, "utf-8")
    np.testing.assert_array_equal(
        read_periods(folder).periods.columns.covariates["noise"],
        frozen.periods.columns.covariates["noise"],
    )


def test_the_words_for_noise_are_those_of_the_sheet_in_their_order():
    assert {effect.value: effect.step for effect in NoiseEffect} == NOISE


def test_what_the_stops_are_like(frozen):
    assert frozen.periods.stops == {
        "habitat": {0: "marsh", 1: "", 2: "ditch"},
        "hydroperiod": {0: "always", 1: "season", 2: "weeks"},
        "fish": {0: "yes", 1: "no", 2: "unknown"},
    }


def test_what_was_heard_what_is_missing_and_where_a_zero_is(frozen):
    peeper, gopher = (species_periods(frozen.periods, at).columns for at in (0, 1))
    assert peeper.stop.tolist() == [0, 2, 0]
    assert peeper.call_index.tolist() == [3, 0, 0]
    assert peeper.heard.tolist() == [1, 0, 0]
    assert gopher.season_year.tolist() == [2023, 2023, 2023]
    assert gopher.call_index.tolist() == [0, 0, 1]


def test_joint_entries_and_what_was_written_down_of_them(folder):
    """Of the members on the checklist; by season year; years that name too few are not fitted."""
    (folder / "checklist.csv").write_text(
        TABLES["checklist"]
        + "either,Either,Lithobates capito; Lithobates areolatus; Pseudacris crucifer,,,,\n"
        "lone,Lone group,Lithobates areolatus,,,,\n",
        encoding="utf-8",
    )
    (folder / "calls.csv").write_text(
        TABLES["calls"]
        + "2,P4,Either,2,false,\n,P4,Pseudacris crucifer,,,\n"
        + ",P1,Either,3,false,\n,P3,Either,1,false,\n",
        encoding="utf-8",
    )
    frozen = read_periods(folder)
    entry = JointEntry(name="Either", members=("Lithobates capito", "Pseudacris crucifer"))
    assert frozen.told == (
        ToldEntry(entry=entry, named=2, records=3, changed=True, unnamed_years=frozenset({2024})),
    )
    assert frozen.periods.unnamed_years == {0: {2024}, 1: {2024}, 2: set(), 3: set()}
    peeper, either = (species_periods(frozen.periods, at) for at in (0, 2))
    assert peeper.columns.season_year.tolist() == [2023, 2023]
    assert either.columns.call_index.tolist() == [3, 0, 1, 2]
    assert either.in_season.all()
    flags = {row["species"]: row["flags"] for row in yearly_rows(frozen)}
    assert "joint-entry-told" in flags["Pseudacris crucifer"]
    assert "naming-changed" in flags["Either"]
    assert flags["Lone group"] == "too-few-data; never-heard"


def test_nobody_was_there(tmp_path):
    for name, text in TABLES.items():
        (tmp_path / f"{name}.csv").write_text(text.splitlines()[0] + "\n", encoding="utf-8")
    read = read_periods(tmp_path)
    assert (read.species, len(read.periods.day), read.periods.heard) == ((), 0, {})


def test_a_column_that_is_not_there_is_an_error(folder):
    (folder / "routes.csv").write_text("route\nR1\n", encoding="utf-8")
    with pytest.raises(ValueError, match="region"):
        read_periods(folder)


@pytest.fixture
def larger(folder):
    """Six seasons on twelve routes of three stops, one species heard at half of the stops."""
    rng = np.random.default_rng(6)
    rows = {name: [text.splitlines()[0].split(",")] for name, text in TABLES.items()}
    rows["checklist"].append(["peeper", "Pseudacris crucifer", "", "", "", "", ""])
    rows["protocols"].append(["Roadside", "1", "five minutes"])
    rows["regions"] += [["North", "1", "wetlands"], ["South", "3", "wetlands"]]
    occupied = rng.random((12, 3, 6)) < 0.5
    for route in range(12):
        region = "North" if route < 6 else "South"
        rows["routes"].append(["", f"R{route}", region, "habitat"])
        rows["stops"] += [[f"S{route}-{n}", "", "", "", str(n), "2000-01-01", ""] for n in range(3)]
        for year, visit in np.ndindex(6, 3):
            key, night = f"{route}-{year}-{visit}", dt.date(2018 + year, 4 + visit, 12)
            day = night.timetuple().tm_yday - 1
            rows["visits"].append(
                [
                    key,
                    f"R{route}",
                    night.year,
                    night,
                    visit + 1,
                    day,
                    "",
                    "",
                    "Roadside",
                    1,
                    "false",
                ]
            )
            for n in range(3):
                rows["periods"].append([f"{key}-{n}", key, f"S{route}-{n}", "", "", "", "", ""])
                if occupied[route, n, year] and rng.random() < 0.6:
                    rows["calls"].append([2, f"{key}-{n}", "Pseudacris crucifer", 2, "false", ""])
    for name, lines in rows.items():
        with (folder / f"{name}.csv").open("w", newline="") as file:
            csv.writer(file).writerows(lines)
    return folder


def test_every_species_is_fitted_by_stop_and_by_route(larger):
    frozen, told = read_periods(larger), []
    fits = list(fit_species(frozen, notify=lambda *what: told.append(what)))
    expected = [("Pseudacris crucifer", "stop"), ("Pseudacris crucifer", "route")]
    assert [(species, site) for species, site, _ in fits] == told == expected
    periods = species_periods(frozen.periods, 0)
    for species, site, result in fits:
        assert [year.sites for year in result.years] == [{"stop": 36, "route": 12}[site]] * 6
        # The tables hold neither turnover nor index nor phenology, and fits are checked.
        assert (result.turnover, result.index, result.phenology) == (None, None, None)
        assert result.fit_check is not None
        assert (result.chorus is None) is (site == "route")
        parts = Parts(turnover=False, index=False, phenology=False)
        assert result == analyze(species, periods, site=site, parts=parts)


def test_a_publication_borrows_detection_where_a_species_was_visited_once(larger):
    """Of the three visits of a season one is in the calling season of the first species."""
    others = [f"Hyla {number}" for number in range(5)]
    tables = {}
    for table in ("checklist", "visits", "periods", "calls"):
        with (larger / f"{table}.csv").open(newline="") as file:
            tables[table] = list(csv.reader(file))
    for table, key in (("visits", 0), ("periods", 0), ("calls", 1)):
        header, *rows = tables[table]
        tables[table] = [header, *(row for row in rows if int(row[key].split("-")[1]) < 2)]
    columns, (name, peeper, *rest) = tables["checklist"]
    tables["checklist"] = [columns, [name, peeper, *rest[:-2], "04-01", "04-30"]]
    tables["checklist"] += [[other, other, *rest] for other in others]
    tables["calls"] += [
        [index, period, other, *more]
        for index, period, _, *more in tables["calls"][1:]
        for other in others
    ]
    for table, rows in tables.items():
        with (larger / f"{table}.csv").open("w", newline="") as file:
            csv.writer(file).writerows(rows)
    results = {(species, site): one for species, site, one in fit_species(read_periods(larger))}
    assert len(results) == 12
    for site in ("stop", "route"):
        years = results[peeper, site].years
        assert [year.borrowed_from for year in years] == [5] * 2
        assert all(estimates.DETECTION_BORROWED in year.flags for year in years)
        assert all(year.borrowed_from is None for year in results[others[0], site].years)


def test_nobody_needs_to_be_notified(larger):
    (species, site, _), *_ = fit_species(read_periods(larger))
    assert (species, site) == ("Pseudacris crucifer", "stop")


def test_null_runs_are_made_of_the_species_that_are_told(larger):
    frozen, told = read_periods(larger), []
    name = "Pseudacris crucifer"
    ((species, run),) = null_runs(frozen, {name}, runs=6, notify=told.append)
    assert (species, run.runs, told) == (name, 6, [name])
    assert run.fell + run.rose <= 4
    assert list(null_runs(frozen, {name}, runs=6)) == [(name, run)]
    none = NullRun(runs=0, fell=0, rose=0)
    assert list(null_runs(frozen, set(), runs=6)) == [(name, replace(none, whole=none))]
    ((_, of_whole),) = null_runs(frozen, set(), whole_told={name}, runs=6)
    assert (of_whole.runs, of_whole.whole.runs) == (0, 6)
    assert of_whole.whole.fell + of_whole.whole.rose <= 4


def test_published_results_follow_from_the_tables_null_runs_too(larger, tmp_path):
    """The script that travels with a publication, on tables that `add_trends` wrote; then a count
    that was changed by hand is found."""
    data = tmp_path / "publication" / "data"
    shutil.copytree(larger, data)
    frozen = Frozen(about=about(), folder=data.parent)
    periods = read_periods(data)
    write_table(
        data.parent, TABLE["yearly"],
        ([row[name] for name in TABLE["yearly"].header] for row in yearly_rows(periods)),
    )  # fmt: skip
    add_trends(frozen, periods, runs=5)
    (row,) = frozen.records("null_runs")
    assert row["runs"] == row["whole_runs"] == 5
    assert all(row["whole_change"] is not None for row in frozen.records("trends"))
    assert all(row["whole"] is not None for row in frozen.records("occupancy"))
    done = reproduced(data.parent)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "null_runs: 1 rows, largest difference 0.0e+00" in done.stdout
    path = data / "null_runs.csv"
    text = path.read_text()
    path.write_text(text.replace(f",5,{row['fell']},", f",5,{row['fell'] + 1},"))
    assert path.read_text() != text
    done = reproduced(data.parent)
    assert done.returncode == 1
    assert "row 1, fell" in done.stdout


def reproduced(folder):
    return subprocess.run(
        [
            sys.executable,
            str(Path(reproduce.__file__).parent / "scripts/reproduce.py"),
            str(folder),
        ],
        env={"PATH": os.environ["PATH"], "PYTHONPATH": str(ROOT), "OPENBLAS_NUM_THREADS": "1"},
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
