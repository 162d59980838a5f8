"""All numbers of a few programs, as they were worked out before something was made quicker.

python -m tests.benchmarks.trends.kept_numbers    # writes them anew, after the method changed
"""

import json
from pathlib import Path

from surveys.fitting.results import to_json
from surveys.trends.analysis import Parts, analyze
from tests.benchmarks.trends.programs import species

FILE = Path(__file__).with_suffix(".json")
# Routes, seed, kind of site: the first is large enough that searches begin at other fits.
PROGRAMS = ((20, 1, "stop"), (20, 2, "route"), (6, 3, "stop"))
DIGITS = 10


def numbers_of(routes, seed, site):
    """Every number of all results of a species by its place among them."""
    result = analyze("x", species(routes, seed), site=site, parts=Parts())
    return dict(_leaves(to_json(result), ""))


def _leaves(value, place):
    if isinstance(value, dict):
        value = value.items()
    elif isinstance(value, list):
        value = enumerate(value)
    else:
        if isinstance(value, float):
            yield place, float(f"{value:.{DIGITS}g}")
        return
    for key, one in value:
        yield from _leaves(one, f"{place}.{key}" if place else str(key))


def main():
    kept = {" ".join(map(str, program)): numbers_of(*program) for program in PROGRAMS}
    FILE.write_text(json.dumps(kept, indent=0) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
