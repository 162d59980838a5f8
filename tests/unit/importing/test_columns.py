"""What columns mean: guessed, said, checked."""

import pytest

from surveys.importing.columns import (
    MappingError,
    check,
    choice_of,
    date_form,
    guess,
    is_long,
    near,
    with_explicit,
)
from surveys.importing.table import Row, Table
from tests.support.spreadsheets import read_here as read_table

CATALOG = {
    "pseudacris-crucifer": "pseudacris-crucifer",
    "pseudacris crucifer": "pseudacris-crucifer",
    "spring peeper": "pseudacris-crucifer",
    "hyla crucifer": "pseudacris-crucifer",
    "lithobates sylvaticus": "lithobates-sylvaticus",
    "wood frog": "lithobates-sylvaticus",
}


def guessed(header: str, *cells: str, unit: str = "C") -> str:
    table = read_table("\n".join([header, *(cells or ("x",))]).encode())
    return guess(table, catalog=CATALOG, temperature_unit=unit)[0].code


@pytest.mark.parametrize(
    ("header", "code"),
    [
        ("Route", "route"),
        ("route_code", "route"),
        ("STOP NO.", "stop"),
        ("Temp (F)", "air_temperature:F"),
        ("Temp (°C)", "air_temperature:C"),
        ("Air temperature", "air_temperature:F"),
        ("Temp_F", "air_temperature:F"),
        ("Start temp (C)", "start_air_temperature:C"),
        ("End sky", "end_sky"),
        ("Wind (mph)", "beaufort:mph"),
        ("Wind at start [km/h]", "start_beaufort:kmh"),
        ("Beaufort", "beaufort:beaufort"),
        ("Rain 48h (in)", "rain_48h:in"),
        ("Rain 48h (mm)", "rain_48h:mm"),
        ("Rain", "rain_48h:in"),
        ("Water temp (F)", "water_temperature:F"),
        ("Water", "water_tonight"),
        ("Spring Peeper", "species:pseudacris-crucifer"),
        ("Pseudacris crucifer", "species:pseudacris-crucifer"),
        ("Hyla crucifer", "species:pseudacris-crucifer"),
        ("pseudacris_crucifer", "species:pseudacris-crucifer"),
        ("wood frog (index)", "species:lithobates-sylvaticus"),
        ("Moon phase", "ignore"),
        ("Mud frog", "ignore"),
    ],
)
def test_headers(header, code):
    assert guessed(header, unit="F") == code


@pytest.mark.parametrize(
    ("cells", "form"),
    [
        (["2024-04-15"], "ymd"),
        (["15/4/2024", "3/4/2024"], "dmy"),
        (["4/15/2024", "4/3/2024"], "mdy"),
        (["3/4/2024"], "?"),
        (["13/4/2024", "4/13/2024"], "?"),
        ([""], "ymd"),
    ],
)
def test_date_order_is_told_or_asked(cells, form):
    assert date_form(cells) == form


def test_times_without_halves_of_the_day():
    assert guessed("Start time", "9:14", "12:05") == "started_at:12h"
    assert guessed("Start time", "9:14", "21:20") == "started_at:24h"
    assert guessed("Start time", "9:14 pm") == "started_at:24h"
    assert guessed("Start time", "9:14", "late", "-", "1005") == "started_at:12h"
    assert guessed("Start time", "00:14", "1:05") == "started_at:24h"


def test_a_field_goes_to_the_first_column_only():
    table = read_table(b"Temp,Temperature\n1,2\n")
    codes = [c.code for c in guess(table, catalog={}, temperature_unit="C")]
    assert codes == ["air_temperature:C", "ignore"]


def test_explicit_columns_overrule():
    table = read_table(b"Route,Initials,T\nR1,ab,48\n")
    choices = guess(table, catalog=CATALOG, temperature_unit="C")
    choices = with_explicit(
        table,
        choices,
        [("t", "air_temperature:f"), ("initials", "species:Wood frog")],
        catalog=CATALOG,
    )
    assert [choice.code for choice in choices] == [
        "route",
        "species:lithobates-sylvaticus",
        "air_temperature:F",
    ]


@pytest.mark.parametrize(
    ("code", "words"),
    [
        ("temperature", "not a field"),
        ("air_temperature:K", "choose one of C, F"),
        ("route:C", "no units"),
        ("species:Unicorn", "not a species"),
    ],
)
def test_meanings_that_are_none(code, words):
    with pytest.raises(MappingError, match=words):
        choice_of(code, catalog=CATALOG)


def test_an_unknown_column_is_named():
    table = read_table(b"Route,Stop\nR1,1\n")
    choices = guess(table, catalog={}, temperature_unit="C")
    with pytest.raises(MappingError, match="no column “Date”"):
        with_explicit(table, choices, [("Date", "night")], catalog={})


@pytest.mark.parametrize(
    ("header", "words"),
    [
        ("Stop,Date,Wood frog", "the route"),
        ("Route,Stop,Wood frog", "the date of the evening"),
        ("Route,Date,Wood frog", "the stop number"),
        ("Route,Date,Stop", "there would be no records"),
        ("Route,Date,Stop,Species", "the call index"),
        ("Route,Date,Stop,Index", "the species"),
        ("Route,Date,Stop,Species,Index,Wood frog", "either one or the other"),
    ],
)
def test_what_a_mapping_lacks(header, words):
    table = read_table(f"{header}\n1\n".encode())
    problems = check(table, guess(table, catalog=CATALOG, temperature_unit="C"))
    assert len(problems) == 1
    assert words in str(problems[0])


def test_ambiguous_dates_are_asked_about():
    table = read_table(b"Route,Date,Stop,Wood frog\nR1,3/4/2024,1,2\n")
    choices = guess(table, catalog=CATALOG, temperature_unit="C")
    assert "day or the month comes first" in str(check(table, choices)[0])
    settled = with_explicit(table, choices, [("Date", "night:mdy")], catalog=CATALOG)
    assert check(table, settled) == ()


def test_the_same_meaning_twice_is_a_problem():
    table = read_table(b"Route,Date,Stop,Wood frog,Other\nR1,2024-04-15,1,2,3\n")
    choices = with_explicit(
        table,
        guess(table, catalog=CATALOG, temperature_unit="C"),
        [("Other", "species:wood frog")],
        catalog=CATALOG,
    )
    assert "same thing" in str(check(table, choices)[0])
    assert not is_long(choices)


def _in_two_rows(*headers: str) -> Table:
    return Table(headers=headers, rows=(Row(number=3, texts=("",) * len(headers)),), name_rows=2)


def test_words_above_several_columns_do_not_hide_what_a_column_is():
    table = _in_two_rows(
        "Route",
        "Weather Air temp (F)",
        "Weather Wind",
        "Species Wood frog",
        "Species Gray treefrog",
    )
    codes = [c.code for c in guess(table, catalog=CATALOG, temperature_unit="C")]
    assert codes[:4] == [
        "route",
        "air_temperature:F",
        "beaufort:beaufort",
        "species:lithobates-sylvaticus",
    ]


def test_words_above_stay_where_the_words_below_are_the_same():
    table = _in_two_rows("Start Wind", "Start Sky", "End Wind", "End Sky")
    codes = [c.code for c in guess(table, catalog={}, temperature_unit="C")]
    assert codes == ["start_beaufort:beaufort", "start_sky", "end_beaufort:beaufort", "end_sky"]


def test_a_misspelled_species_is_guessed_and_to_be_checked():
    table = Table(
        headers=("Route", "Wod Frog", "Remarks"),
        rows=(Row(number=2, texts=("R1", "1", "")),),
    )
    choices = guess(table, catalog=CATALOG, temperature_unit="C")
    assert choices[1].species == "lithobates-sylvaticus"
    assert near(table, choices, CATALOG) == {1}


def test_the_right_name_goes_before_a_misspelled_one():
    table = Table(headers=("Wod frog", "Wood frog"), rows=(Row(number=2, texts=("1", "1")),))
    choices = guess(table, catalog=CATALOG, temperature_unit="C")
    assert [choice.species for choice in choices] == ["", "lithobates-sylvaticus"]
    assert not near(table, choices, CATALOG)
