"""Work the published results out again from the published rows, and compare.

    python reproduce/reproduce.py [FOLDER]

FOLDER holds `data/` with the tables; without it, the folder that this one lies in. Texts, dates
and whole numbers must be equal; other numbers must agree to 1e-6, or to 1e-6 of their size where
that is more, which leaves room for another processor or another version of numpy and scipy. Ends
with 0 when everything agrees, with 1 when it does not.
"""

import csv
import sys
from datetime import date
from pathlib import Path

from surveys.trends.from_tables import FrozenPeriods, fit_species, null_runs, read_periods
from surveys.trends.result_tables import (
    null_row,
    occupancy_rows,
    sensitivity_rows,
    trend_rows,
    yearly_rows,
)
from surveys.trends.sighting_tables import sighting_share_rows
from surveys.trends.water_tables import change_effect_rows, water_and_calls_rows, water_rows

TOLERANCE = 1e-6
MOST_SHOWN = 20


def main() -> int:
    here = Path(__file__).resolve().parent
    data = (Path(sys.argv[1]) if len(sys.argv) > 1 else here.parent) / "data"
    periods = read_periods(data)
    results = list(fit_species(periods, notify=begun))
    again = {
        "yearly": list(yearly_rows(periods)),
        "occupancy": [row for result in results for row in occupancy_rows(*result)],
        "trends": trend_rows(results),
        "sensitivity": [row for result in results for row in sensitivity_rows(*result)],
        "null_runs": simulate_again(data, periods),
        "water": list(water_rows(periods)),
        "water_and_calls": list(water_and_calls_rows(results)),
        "change_effects": list(change_effect_rows(results)),
        "sighting_shares": list(sighting_share_rows(data)),
    }
    agreed = [compare(table, data / f"{table}.csv", rows) for table, rows in again.items()]
    print("Everything agrees." if all(agreed) else "The results do not follow from the rows.")
    return 0 if all(agreed) else 1


def begun(species: str, site: str) -> None:
    """Say what is fitted next."""
    print(f"{species}, site = {site}", file=sys.stderr)


def simulate_again(data: Path, periods: FrozenPeriods) -> list[dict]:
    """The null runs of the species that had one, with as many surveys."""
    with (data / "null_runs.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    runs = {row["species"]: int(row["runs"]) for row in rows}
    of_whole = {row["species"]: int(row["whole_runs"] or 0) for row in rows}
    told = {species for species, number in runs.items() if number}
    whole_told = {species for species, number in of_whole.items() if number}

    def notify(species: str) -> None:
        print(f"{species}, null run", file=sys.stderr)

    most = max((*runs.values(), *of_whole.values()), default=0)
    return [
        null_row(species, run)
        for species, run in null_runs(
            periods, told, whole_told=whole_told, runs=most, notify=notify
        )
    ]


def compare(table: str, path: Path, again: list[dict]) -> bool:
    """Print how far a published table is from the rows worked out again; whether it agrees."""
    with path.open(encoding="utf-8", newline="") as file:
        published = list(csv.DictReader(file))
    problems = []
    if len(published) != len(again):
        problems.append(f"{len(published)} rows published, {len(again)} worked out")
    largest = 0.0
    for number, (old, new) in enumerate(zip(published, again, strict=False), start=1):
        for column, text in old.items():
            difference = distance(text, new.get(column))
            if difference > TOLERANCE:
                problems.append(f"row {number}, {column}: {text!r} published, {new.get(column)!r}")
            else:
                largest = max(largest, difference)
    print(f"{table}: {len(published)} rows, largest difference {largest:.1e}")
    for problem in problems[:MOST_SHOWN]:
        print(f"  {problem}")
    if len(problems) > MOST_SHOWN:
        print(f"  and {len(problems) - MOST_SHOWN} more")
    return not problems


def distance(text: str, value: object) -> float:
    """How far a published cell is from a value: 0 where equal, infinite where not alike."""
    if isinstance(value, float):
        try:
            return abs(float(text) - value) / max(1.0, abs(value))
        except ValueError:
            return float("inf")
    if isinstance(value, bool):
        value = "true" if value else "false"
    if isinstance(value, date):
        value = value.isoformat()
    # A text that could be taken for a formula stands in the table with an apostrophe before it.
    return 0.0 if text.removeprefix("'") == ("" if value is None else str(value)) else float("inf")


if __name__ == "__main__":
    sys.exit(main())
