"""Facts of the trade, common practice, no source.

Winter breeders of seasonal, fishless, grassy wetlands in the south-eastern coastal plain
call from about mid-December through February into March, once winter rain has filled the
wetland. The spring peeper is a winter breeder there too; in most of the east it is among the
first callers. Nothing in the code knows of New Year.
"""

import datetime as dt
import json
from pathlib import Path

import pytest

from surveys.protocol.plain import (
    from_plain,
    to_plain,
)
from surveys.protocol.presets import presets_from_plain
from surveys.protocol.rules.judge import judge
from surveys.protocol.seasons import (
    in_days,
    season_bounds,
    season_year,
    window_dates,
    window_of,
)
from surveys.protocol.values import (
    Case,
    MonthDay,
)

FIXTURES = Path(__file__).parents[3] / "fixtures"
SPECIES = json.loads((FIXTURES / "species.json").read_text("utf-8"))["species"]
PRESET = next(
    preset
    for preset in presets_from_plain(
        json.loads((FIXTURES / "protocol_presets.json").read_text("utf-8"))
    ).presets
    if preset.code == "winter-pools"
)
PROTOCOL = PRESET.protocol
PLAIN = "southeast-coastal-plain"
WINTER = ["pseudacris-ornata", "pseudacris-nigrita"]
PEEPER = "pseudacris-crucifer"
SOUTHERN_EDGE = {
    "lithobates-kauffeldi",
    "pseudacris-brimleyi",
    "pseudacris-feriarum",
    "pseudacris-kalmi",
}

# One winter, evening by evening
SEASON = [dt.date(2024, 12, 15) + dt.timedelta(days=n) for n in range(91)]


def calling(code, region):
    """(first, last) calling day of a species in a region, or None."""
    species = next(species for species in SPECIES if species["code"] == code)
    for days in species["calling"]:
        if days["region"] == region and "first" in days:
            return from_plain(MonthDay, days["first"]), from_plain(MonthDay, days["last"])
    return None


def first_evening(code, region, begins):
    """First calling evening of the species in season year 2025."""
    evening, last = season_bounds(2025, begins)
    days = calling(code, region)
    while not in_days(evening, *days):
        evening += dt.timedelta(days=1)
        assert evening <= last
    return evening


@pytest.mark.parametrize("code", WINTER)
def test_winter_breeders_call_from_mid_december_into_march(code):
    first, last = calling(code, PLAIN)
    assert first > last, "the season crosses New Year"
    assert all(in_days(night, first, last) for night in SEASON)


def test_a_winter_is_one_season_year_named_after_the_year_in_which_it_ends():
    years = {season_year(night, PROTOCOL.season_year_begins) for night in SEASON}
    assert years == {2025}


def test_every_evening_of_the_winter_lies_in_a_window_of_the_same_season_year():
    for night in SEASON:
        window = window_of(night, PROTOCOL)
        assert window is not None, night
        first, last = window_dates(window, 2025, PROTOCOL.season_year_begins)
        assert first <= night <= last


def test_a_leap_day_is_an_evening_like_any_other():
    leap_day = dt.date(2024, 2, 29)
    assert window_of(leap_day, PROTOCOL) is not None
    assert season_year(leap_day, PROTOCOL.season_year_begins) == 2024
    assert in_days(leap_day, *calling("pseudacris-ornata", PLAIN))


@pytest.mark.parametrize("code", WINTER)
def test_in_the_coastal_plain_the_spring_peeper_calls_alongside_them(code):
    """Common practice, no source."""
    assert all(in_days(night, *calling(PEEPER, PLAIN)) for night in SEASON)
    assert all(in_days(night, *calling(code, PLAIN)) for night in SEASON)


@pytest.mark.parametrize("region", ["northeast", "upper-midwest"])
def test_in_most_of_the_east_the_spring_peeper_is_among_the_first_callers(region):
    """Common practice, no source. Species that live only along the southern edge or the coast of
    the region begin earlier."""
    january = MonthDay(month=1, day=1)
    peeper = first_evening(PEEPER, region, january)
    others = [
        species["code"]
        for species in SPECIES
        if calling(species["code"], region) and species["code"] not in SOUTHERN_EDGE
    ]
    assert len(others) > 8
    assert all(first_evening(code, region, january) >= peeper for code in others)


@pytest.mark.parametrize("night", ["2024-12-31", "2025-01-01", "2024-02-29"])
def test_a_good_visit_of_a_winter_evening_has_no_findings(night):
    """Eight stops on the evening of New Year's Eve run into the new year."""
    date = dt.date.fromisoformat(night)
    # 22:58 in Georgia is 03:58 UTC; the eight stops take until 00:59
    start = dt.datetime.combine(date, dt.time(3, 58), tzinfo=dt.UTC) + dt.timedelta(days=1)
    periods = []
    for number in range(1, 9):
        arrival = start + dt.timedelta(minutes=16 * (number - 1))
        began = arrival + dt.timedelta(minutes=1)
        periods.append(
            {
                "stop": number,
                "arrived_at": to_plain(arrival),
                "started_at": to_plain(began),
                "finished_at": to_plain(began + dt.timedelta(minutes=5)),
                "air_temperature": {"value": "52", "unit": "F"},
                "beaufort": 1,
                "sky": "overcast",
                "noise": "heard_through",
                "calls": [{"species": code, "index": 3} for code in WINTER],
            }
        )
    case = from_plain(
        Case,
        {
            "visit": {"night": night, "periods": periods},
            "route": {
                "code": "R",
                "name": "Long Meadow",
                "time_zone": "America/New_York",
                "temperature_unit": "F",
                "stops": [
                    {
                        "number": number,
                        "name": "",
                        "place": {"latitude": 31.2 + number / 100, "longitude": -82.4},
                    }
                    for number in range(1, 9)
                ],
                "checklist": [
                    {
                        "code": code,
                        "common_name": code,
                        "scientific_name": code,
                        "season": [to_plain(day) for day in calling(code, PLAIN)],
                    }
                    for code in (*WINTER, PEEPER)
                ],
            },
            "protocol": to_plain(PROTOCOL),
            "sky": {
                str(number): {
                    "sunset": to_plain(start - dt.timedelta(hours=5)),
                }
                for number in range(1, 9)
            },
            "surroundings": {
                "now": to_plain(start + dt.timedelta(days=2)),
                "other_nights": [str(date - dt.timedelta(days=150))],
            },
        },
    )
    assert judge(case) == ()
