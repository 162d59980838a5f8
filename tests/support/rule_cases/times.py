"""Cases of the rules in surveys/protocol/rules/times.py, on both sides of every threshold."""

from tests.support.rule_cases.writing import (
    at,
    case,
    listened,
    rows,
    skipped,
)

CASES = rows(
    {
        "time-on-another-night": [
            case("noon of the night", periods=[skipped(1, arrived_at="12:00")], min_stops=0),
            case(
                "before noon of the night",
                at(1, "arrived_at"),
                periods=[skipped(1, arrived_at="2024-04-15T16:59:59Z")],
                min_stops=0,
            ),
            case(
                "before noon of the next day",
                periods=[skipped(1, arrived_at="11:59:59")],
                min_stops=0,
            ),
            case(
                "noon of the next day",
                at(1, "arrived_at"),
                periods=[skipped(1, arrived_at="2024-04-16T17:00:00Z")],
                min_stops=0,
            ),
        ],
        "future-time": [
            case("15 minutes ahead of the clock", now="2024-04-16T01:21:00Z"),
            case(
                "15 minutes and 1 second ahead of the clock",
                at(1, "finished_at"),
                now="2024-04-16T01:20:59Z",
            ),
        ],
        "start-before-arrival": [
            case("at the same moment", periods=[listened(1, arrived_at="20:31")]),
            case(
                "one second before",
                at(1, "started_at"),
                periods=[listened(1, arrived_at="20:31:01")],
            ),
            case("over midnight", periods=[listened(1, "00:01", "00:06", arrived_at="23:58")]),
        ],
        "finish-before-start": [
            case("at the same moment", at(1, "finished_at"), periods=[listened(1, end="20:31")]),
            case("before the start", at(1, "finished_at"), periods=[listened(1, end="20:30")]),
            case("after the start, over midnight", periods=[listened(1, "23:57", "00:02")]),
        ],
        "pause-longer-than-listening": [
            case("a pause as long as the listening", periods=[listened(1, paused=300)]),
            case(
                "a pause longer than the listening",
                at(1, "paused_minutes"),
                periods=[listened(1, paused=301)],
            ),
            case("a pause below zero", at(1, "paused_minutes"), periods=[listened(1, paused=-60)]),
        ],
        "stops-overlap": [
            case(
                "the next begins when the last ends",
                periods=[listened(1), listened(2, "20:36", "20:41"), listened(3)],
                stops=3,
            ),
            case(
                "the next begins a second before the last ends",
                at(2, "started_at"),
                periods=[listened(1, end="20:36:01"), listened(2, "20:36", "20:41")],
                stops=2,
            ),
            case(
                "the arrival at the next stop counts",
                at(2, "arrived_at"),
                periods=[listened(1), listened(2, arrived_at="20:35")],
                stops=2,
            ),
            case(
                "a long listening around two others",
                at(2, "started_at"),
                at(3, "started_at"),
                periods=[
                    listened(1, end="20:56"),
                    listened(2, "20:36", "20:41"),
                    listened(3, "20:46", "20:51"),
                ],
                stops=3,
                longest_listening_time=1500,
            ),
            case(
                "the third begins while the second goes on",
                at(3, "started_at"),
                periods=[listened(1), listened(2, end="20:51"), listened(3, start="20:46")],
                stops=3,
                longest_listening_time=600,
            ),
        ],
        "impossible-drive": [
            case(
                "1.1 km in no time, one minute allowed for",
                periods=[listened(1), listened(2, "20:36", "20:41")],
                stops=2,
                max_drive_kmh=67,
            ),
            case(
                "1.1 km in no time at 66 km/h",
                at(2, "started_at"),
                periods=[listened(1), listened(2, "20:36", "20:41")],
                stops=2,
                max_drive_kmh=66,
            ),
            case(
                "ten times as far",
                at(2, "arrived_at"),
                periods=[listened(1), listened(2, arrived_at="20:40")],
                stops=[(43.0731, -89.4012), (43.1731, -89.4012)],
            ),
            case(
                "ten times as far, in miles",
                at(2, "arrived_at"),
                periods=[listened(1), listened(2, arrived_at="20:40")],
                stops=[(43.0731, -89.4012), (43.1731, -89.4012)],
                distance_unit="mi",
            ),
            case(
                "as far with time enough",
                periods=[listened(1), listened(2, "20:43", "20:48", arrived_at="20:42")],
                stops=[(43.0731, -89.4012), (43.1731, -89.4012)],
            ),
            case(
                "the skipped stop between does not matter",
                at(3, "started_at"),
                periods=[listened(1), skipped(2), listened(3, "20:36", "20:41")],
                stops=3,
                max_drive_kmh=133,
            ),
        ],
        "times-missing": [
            case("no arrival, and no wait asked for"),
            case("no arrival, but a wait asked for", at(1, "arrived_at"), settling_wait=60),
            case("no start", at(1, "started_at"), periods=[listened(1, start=None)]),
            case("no end", at(1, "finished_at"), periods=[listened(1, end=None)]),
            case("a skipped stop needs no times", periods=[listened(1), skipped(2)], stops=2),
        ],
        "wait-too-short": [
            case("one minute", periods=[listened(1, arrived_at="20:30")], settling_wait=60),
            case(
                "59 seconds",
                at(1, "started_at"),
                periods=[listened(1, arrived_at="20:30:01")],
                settling_wait=60,
            ),
            case(
                "no wait at all",
                at(1, "started_at"),
                periods=[listened(1, arrived_at="20:31")],
                settling_wait=60,
            ),
            case("none asked for", periods=[listened(1, arrived_at="20:31")]),
            case(
                "over midnight",
                periods=[listened(1, "00:00:30", "00:05:30", arrived_at="23:59:30")],
                settling_wait=60,
            ),
        ],
        "listening-too-short": [
            case("five minutes"),
            case(
                "4 minutes 59 seconds", at(1, "finished_at"), periods=[listened(1, end="20:35:59")]
            ),
            case("six minutes with a pause of one", periods=[listened(1, end="20:37", paused=60)]),
            case(
                "six minutes with a pause of 61 seconds",
                at(1, "finished_at"),
                periods=[listened(1, end="20:37", paused=61)],
            ),
            case(
                "a pause of part of a second is told as a second",
                at(1, "finished_at"),
                periods=[listened(1, end="20:35:59", paused=0.6)],
            ),
            case("over midnight", periods=[listened(1, "23:57", "00:02")]),
            case(
                "over midnight, too short",
                at(1, "finished_at"),
                periods=[listened(1, "23:58", "00:02")],
            ),
            case(
                "01:57 to 01:02 on the night clocks go back is five minutes",
                night="2024-11-02",
                periods=[listened(1, "01:57", "2024-11-03T07:02:00Z")],
                windows=[],
                sunset="2024-11-02T22:47:00Z",
                now="2024-12-01T00:00:00Z",
            ),
            case(
                "01:57 to 01:01 on the night clocks go back is four minutes",
                at(1, "finished_at"),
                night="2024-11-02",
                periods=[listened(1, "01:57", "2024-11-03T07:01:00Z")],
                windows=[],
                sunset="2024-11-02T22:47:00Z",
                now="2024-12-01T00:00:00Z",
            ),
            case(
                "01:57 to 03:02 on the night clocks go forward is five minutes",
                night="2025-03-08",
                periods=[listened(1, "01:57", "03:02")],
                windows=[],
                sunset="2025-03-08T23:56:00Z",
                now="2025-04-01T00:00:00Z",
            ),
            case(
                "01:57 to 03:01 on the night clocks go forward is four minutes",
                at(1, "finished_at"),
                night="2025-03-08",
                periods=[listened(1, "01:57", "03:01")],
                windows=[],
                sunset="2025-03-08T23:56:00Z",
                now="2025-04-01T00:00:00Z",
            ),
        ],
        "listening-too-long": [
            case("six minutes where five are asked for", periods=[listened(1, end="20:37")]),
            case(
                "six minutes and one second",
                at(1, "finished_at"),
                periods=[listened(1, end="20:37:01")],
            ),
            case("a pause does not count", periods=[listened(1, end="20:39", paused=120)]),
            case(
                "eleven minutes where ten are the longest",
                periods=[listened(1, end="20:42")],
                interruption="extend",
                longest_listening_time=600,
            ),
            case(
                "eleven minutes and one second where ten are the longest",
                at(1, "finished_at"),
                periods=[listened(1, end="20:42:01")],
                interruption="extend",
                longest_listening_time=600,
            ),
            case(
                "extended without a longest time",
                periods=[listened(1, end="21:31")],
                interruption="extend",
            ),
        ],
        "pause-not-restarted": [
            case("a pause where pausing is right", periods=[listened(1, end="20:37", paused=60)]),
            case(
                "a pause where the listening begins again",
                at(1, "paused_minutes"),
                periods=[listened(1, end="20:37", paused=60)],
                interruption="restart",
            ),
            case("no pause where the listening begins again", interruption="restart"),
        ],
    }
)
