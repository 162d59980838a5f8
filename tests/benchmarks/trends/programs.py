"""Made-up programs as large as they come, with everything that a sheet tells of a visit."""

import numpy as np

from surveys.trends.histories import PeriodColumns
from surveys.trends.periods import SpeciesPeriods

STOPS, YEARS, VISITS = 10, 20, 3


def species(routes, seed=42):
    """Listening periods of one species: turnover of routes, missing visits and covariates, new
    observers, and stops that differ in what is known of them."""
    rng = np.random.default_rng(seed)
    route, stop, year, visit = (
        axis.ravel() for axis in np.indices((routes, STOPS, YEARS, VISITS), dtype=np.int64)
    )
    site, by_visit = route * STOPS + stop, (routes, YEARS, VISITS)
    of_visit = (route, year, visit)
    stops = {
        "habitat": rng.choice(["marsh", "pond", "ditch", "swamp"], routes * STOPS),
        "hydroperiod": rng.choice(["weeks", "season", "most_years", "always"], routes * STOPS),
        "fish": rng.choice(["no", "yes"], routes * STOPS, p=[0.7, 0.3]),
    }
    luck = rng.random((routes * STOPS, YEARS))
    for later in range(1, YEARS):
        kept = rng.random(len(luck)) < 0.8
        luck[kept, later] = luck[kept, later - 1]
    level = rng.normal(0, 0.7, routes * STOPS) - 0.8 * (stops["fish"] == "yes")
    there = luck < 1 / (1 + np.exp(0.05 * (np.arange(YEARS) - 9.5) - level[:, None]))
    day = 60 + 25 * visit + rng.integers(-8, 9, by_visit)[of_visit]
    count = len(route)
    told = {
        "temperature": 8 + 4 * visit + rng.normal(0, 3, by_visit)[of_visit],
        "wind": rng.integers(0, 5, count) * 1.0,
        "noise": rng.integers(0, 5, count) * 1.0,
        "rain": np.maximum(0, rng.normal(2, 6, by_visit))[of_visit],
        "water": rng.integers(0, 3, count) * 1.0,
        "minutes after sunset": 35.0 + 9 * stop + rng.normal(0, 10, by_visit)[of_visit],
    }
    logit = 0.3 + 0.06 * (told["temperature"] - 12) - 0.15 * told["wind"]
    logit -= 0.3 * np.maximum(told["noise"] - 2, 0) + 0.0015 * (day - 90) ** 2
    heard = there[site, year] & (rng.random(count) < 1 / (1 + np.exp(-logit)))
    full = rng.choice([1, 2, 3], (routes * STOPS, YEARS))[site, year]
    index = np.where(heard, np.minimum(full, rng.choice([1, 2, 3], count, p=[0.2, 0.3, 0.5])), 0)
    for values in told.values():
        values[rng.random(count) < 0.05] = np.nan
    begins = rng.integers(-YEARS, YEARS // 2, routes)[route]
    made = (year >= begins) & (rng.random(by_visit)[of_visit] > 0.03)
    night = (day - 90) / 10
    columns = {
        "route": route, "stop": site, "season_year": 2001 + year,
        "night": 365 * (2001 + year) + day, "visit_number": visit + 1,
        "call_index": index * 1.0, "heard": heard * 1.0,
        "way": np.zeros(count, np.int64), "first_season": rng.random(by_visit)[of_visit] < 0.1,
    }  # fmt: skip
    return SpeciesPeriods(
        columns=PeriodColumns(
            **{name: values[made] for name, values in columns.items()},
            covariates={
                name: values[made]
                for name, values in {**told, "night": night, "night squared": night**2}.items()
            },
        ),
        day=day[made],
        in_season=np.ones(int(made.sum()), dtype=bool),
        stops={name: dict(enumerate(values.tolist())) for name, values in stops.items()},
    )
