"""The judge: order of the findings, and no visit that it cannot read."""

from hypothesis import given

from surveys.protocol.plain import from_plain
from surveys.protocol.rules.judge import judge
from surveys.protocol.rules.table import RULES
from surveys.protocol.telling import tell
from surveys.protocol.values import (
    Case,
    Visit,
)
from tests.support.rule_cases.writing import reader_of
from tests.unit.protocol.cases import (
    cases,
    steady,
)

BUSY = from_plain(
    Case,
    {
        "visit": {
            "night": "2024-06-15",
            "start": {"sky": "heavy_rain"},
            "periods": [
                {
                    "stop": 2,
                    "started_at": "2024-06-16T02:10:00Z",
                    "finished_at": "2024-06-16T02:12:00Z",
                    "beaufort": 5,
                },
                {
                    "stop": 1,
                    "started_at": "2024-06-16T02:31:00Z",
                    "finished_at": "2024-06-16T02:32:00Z",
                    "sky": "clear",
                    "beaufort": 5,
                },
            ],
        },
        "route": {
            "code": "R",
            "name": "Long Meadow",
            "time_zone": "America/Chicago",
            "stops": [
                {"number": n, "name": "", "place": {"latitude": 43 + n / 100, "longitude": -89}}
                for n in (1, 2, 3)
            ],
        },
        "protocol": {
            "name": "Example",
            "version": 1,
            "season_year_begins": "01-01",
            "windows": [{"name": "Early", "opens": "04-01", "closes": "04-30"}],
            "listening_time": 300,
            "max_beaufort": 3,
            "forbidden_skies": ["heavy_rain"],
            "min_stops": 3,
        },
        "sky": {},
        "surroundings": {"now": "2024-07-01T00:00:00Z"},
    },
    at="case",
)


def test_the_visit_comes_first_then_the_stops_by_number_each_in_the_order_of_the_table():
    codes = [(finding.where.stop, finding.code) for finding in judge(BUSY)]
    assert codes == [
        (None, "outside-window"),
        (None, "too-few-stops"),
        (None, "stop-left-blank"),
        (None, "wet-sky"),
        (1, "stops-out-of-order"),
        (1, "listening-too-short"),
        (1, "too-windy"),
        (2, "listening-too-short"),
        (2, "too-windy"),
        (2, "sky-missing"),
    ]


@steady
@given(case=cases)
def test_any_visit_can_be_judged(case):
    """However wrong a visit is, it gets findings in words, never an error."""
    known = {rule.code: rule.severity for rule in RULES}
    for finding in judge(case):
        assert finding.severity is known[finding.code]
        told = tell(finding, reader_of(case))
        assert told.message.endswith(".")
        assert told.remedy.endswith(".")
        assert "None" not in told.message
        assert "nvalid" not in told.message + told.remedy


@steady
@given(case=cases)
def test_the_order_in_which_the_stops_were_written_down_does_not_change_the_findings(case):
    turned = Case(
        visit=Visit(
            night=case.visit.night,
            periods=tuple(
                sorted(case.visit.periods, key=lambda p: (-p.stop, str(p.started_at), repr(p)))
            ),
            start=case.visit.start,
            end=case.visit.end,
        ),
        route=case.route,
        protocol=case.protocol,
        sky=case.sky,
        surroundings=case.surroundings,
    )
    one_by_one = {period.stop for period in case.visit.periods}
    if len(one_by_one) == len(case.visit.periods) and not _same_beginning(case):
        key = repr
        assert sorted(judge(turned), key=key) == sorted(judge(case), key=key)


def _same_beginning(case):
    begins = [p.arrived_at or p.started_at for p in case.visit.periods]
    known = [begin for begin in begins if begin is not None]
    return len(known) != len(set(known))
