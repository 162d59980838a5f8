"""Daily station files in the layout of GHCN-Daily.

Columns, units and flags: the data set's readme, section III ("FORMAT OF DATA FILES"), as public
copies of it quote it: ID 1-11, year 12-15, month 16-17, element 18-21, then 31 times value (5
columns), measurement, quality and source flag; PRCP in tenths of a millimeter, TMAX and TMIN in
tenths of a degree Celsius, -9999 missing. By station: ID, YYYYMMDD, element, value, the three
flags, time. The values are invented.
"""

import datetime as dt

import pytest

from surveys.importing.problems import UnreadableFileError
from surveys.importing.stations import read_station_file
from surveys.protocol.station_days import StationDay

CODE = "USC00990001"


def dly(element, values, *, year=2024, month=4, code=CODE):
    """A line of a .dly file; `values` by day are a value, or a value and its three flags."""
    cells = [values.get(day, (-9999, "   ")) for day in range(1, 32)]
    pairs = [cell if isinstance(cell, tuple) else (cell, "  7") for cell in cells]
    return f"{code}{year}{month:02}{element}" + "".join(f"{v:5}{flags}" for v, flags in pairs)


def read(text, rain="mm", temperature="C"):
    return read_station_file(text.encode(), rain_unit=rain, temperature_unit=temperature)


def test_fixed_width():
    lines = [
        dly("PRCP", {1: 0, 2: 254, 30: (0, "T  "), 15: (90, " G7")}),
        dly("TMAX", {1: 183, 2: -11}),
        dly("TMIN", {1: 56}),
        dly("SNOW", {1: 100}),
    ]
    assert len(lines[0]) == 269
    found = read("\n".join(lines) + "\n")
    assert (found.code, found.failed) == (CODE, 1)
    assert found.days == {
        dt.date(2024, 4, 1): StationDay(rain=0.0, high=18.3, low=5.6),
        dt.date(2024, 4, 2): StationDay(rain=25.4, high=-1.1),
        dt.date(2024, 4, 30): StationDay(rain=0.0),
    }


def test_units_of_a_plain_file_do_not_touch_it():
    assert read(dly("PRCP", {3: 254}), "in", "F").days == {
        dt.date(2024, 4, 3): StationDay(rain=25.4)
    }


def test_by_station():
    text = f"""{CODE},20240401,PRCP,127,,,7,0700
{CODE},20240401,TMAX,211,,,7,
{CODE},20240401,WT01,1,,,7,
{CODE},20240402,TMIN,-32,,I,7,
{CODE},20240403,TMIN,-32,,,7,
"""
    found = read(text)
    assert (found.code, found.failed) == (CODE, 1)
    assert found.days == {
        dt.date(2024, 4, 1): StationDay(rain=12.7, high=21.1),
        dt.date(2024, 4, 3): StationDay(low=-3.2),
    }


@pytest.mark.parametrize(
    ("text", "units", "day"),
    [
        # 1 in = 25.4 mm exactly; t_C = (t_F - 32) / 1.8, NIST SP 811 (2008) B.8.
        (
            "date,rain,high,low\n2024-04-01,0.5,68,41\n",
            ("in", "F"),
            StationDay(rain=12.7, high=20, low=5),
        ),
        (
            "Date;Precipitation;TMAX;TMIN\n20240401;2,5;20;\n",
            ("mm", "C"),
            StationDay(rain=2.5, high=20),
        ),
        (
            (
                "STATION,DATE,PRCP,PRCP_ATTRIBUTES,TMAX,TMAX_ATTRIBUTES\n"
                'X,2024-04-01,25,",,7",200,",S,7"\n'
            ),
            ("tenth_mm", "tenth_c"),
            StationDay(rain=2.5),
        ),
    ],
)
def test_plain_csv(text, units, day):
    assert read(text, *units).days == {dt.date(2024, 4, 1): day}


REFUSED = {
    "": "empty",
    "hello": "date, rain, high and low",
    "date,rain\n2024-04-01,\n": "holds no day",
    "date,rain\n04/05/24,1\n": "Line 2: “04/05/24” is not a date",
    "date,rain\n2024-02-30,1\n": "no day 30 of month 2 in 2024",
    "date,rain\n2024-04-01,lots\n": "Line 2: “lots” is not a number",
    "date,rain\n2024-04-01,9000\n": r"9000.0 mm \(354.33 in\) of rain on one day is not possible",
    "date,rain\n2024-04-01,-1\n": r"-1.0 mm \(-0.04 in\) of rain on one day is not possible",
    "date,high\n2024-04-01,88\n": r"88.0 °C \(190.4 °F\) is not possible",
    f"{dly('PRCP', {1: 5})}\nend of file": "Line 2 is not one of a .dly file",
    f"{dly('PRCP', {1: 5})}\n{dly('PRCP', {1: 5}, code='USC00990002')}": "a file for each station",
    dly("PRCP", {31: 5}): "no day 31 of month 4 in 2024",
}


@pytest.mark.parametrize(("text", "words"), REFUSED.items(), ids=REFUSED.values())
def test_what_is_wrong_is_said(text, words):
    with pytest.raises(UnreadableFileError, match=words):
        read(text)
