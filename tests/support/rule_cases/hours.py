"""Cases of the rules in surveys/protocol/rules/hours.py, on both sides of every threshold."""

from tests.support.rule_cases.writing import (
    at,
    case,
    listened,
    rows,
    stop_sky,
)

CASES = rows(
    {
        "before-dusk": [
            case(
                "half an hour after sunset to the second",
                periods=[listened(1, "20:11", "20:16")],
                earliest_start_after_sunset=1800,
            ),
            case(
                "one second too early",
                at(1, "started_at"),
                periods=[listened(1, "20:10:59", "20:16")],
                earliest_start_after_sunset=1800,
            ),
            case(
                "at sunset", periods=[listened(1, "19:41", "19:46")], earliest_start_after_sunset=0
            ),
            case(
                "a minute before sunset",
                at(1, "started_at"),
                periods=[listened(1, "19:40", "19:45")],
                earliest_start_after_sunset=0,
            ),
            case(
                "from 15 minutes before sunset",
                at(1, "started_at"),
                periods=[listened(1, "19:25", "19:30")],
                earliest_start_after_sunset=-900,
            ),
            case("no limit", periods=[listened(1, "18:00", "18:05")]),
            case(
                "each stop has its own sunset",
                at(2, "started_at"),
                periods=[listened(1, "20:11", "20:16"), listened(2, "20:20", "20:25")],
                stops=2,
                earliest_start_after_sunset=1800,
                sky={"1": stop_sky("2024-04-16T00:41:00Z"), "2": stop_sky("2024-04-16T00:51:00Z")},
            ),
        ],
        "after-last-hour": [
            case(
                "ends at 01:00", periods=[listened(1, "00:55", "01:00")], latest_end_clock="01:00"
            ),
            case(
                "ends a second after 01:00",
                at(1, "finished_at"),
                periods=[listened(1, "00:55", "01:00:01")],
                latest_end_clock="01:00",
            ),
            case(
                "starts before midnight",
                periods=[listened(1, "23:30", "23:35")],
                latest_end_clock="01:00",
            ),
            case(
                "a limit before midnight",
                at(1, "finished_at"),
                periods=[listened(1, "23:30", "23:35")],
                latest_end_clock="23:30",
            ),
            case(
                "a limit at midnight, met",
                periods=[listened(1, "23:55", "00:00")],
                latest_end_clock="00:00",
            ),
            case(
                "a limit at midnight, broken",
                at(1, "finished_at"),
                periods=[listened(1, "23:56", "00:01")],
                latest_end_clock="00:00",
            ),
            case(
                "4.5 hours after sunset to the second",
                periods=[listened(1, "00:06", "00:11")],
                latest_end_after_sunset=16200,
            ),
            case(
                "4.5 hours and one second after sunset",
                at(1, "finished_at"),
                periods=[listened(1, "00:06", "00:11:01")],
                latest_end_after_sunset=16200,
            ),
            case(
                "of two limits the earlier one",
                at(1, "finished_at"),
                periods=[listened(1, "00:06", "00:11:01")],
                latest_end_after_sunset=16200,
                latest_end_clock="01:00",
            ),
            case(
                "clocks go back: the second 01:00 counts",
                night="2024-11-02",
                periods=[listened(1, "01:55", "2024-11-03T07:00:00Z")],
                windows=[],
                latest_end_clock="01:00",
                sunset="2024-11-02T22:47:00Z",
                now="2024-12-01T00:00:00Z",
            ),
            case(
                "clocks go back: after the second 01:00",
                at(1, "finished_at"),
                night="2024-11-02",
                periods=[listened(1, "01:56", "2024-11-03T07:01:00Z")],
                windows=[],
                latest_end_clock="01:00",
                sunset="2024-11-02T22:47:00Z",
                now="2024-12-01T00:00:00Z",
            ),
            case(
                "clocks go forward: 02:30 never comes, the change counts",
                night="2025-03-08",
                periods=[listened(1, "01:55", "03:00")],
                windows=[],
                latest_end_clock="02:30",
                sunset="2025-03-08T23:56:00Z",
                now="2025-04-01T00:00:00Z",
            ),
            case(
                "clocks go forward: after the change",
                at(1, "finished_at"),
                night="2025-03-08",
                periods=[listened(1, "01:56", "03:01")],
                windows=[],
                latest_end_clock="02:30",
                sunset="2025-03-08T23:56:00Z",
                now="2025-04-01T00:00:00Z",
            ),
        ],
        "sun-does-not-set": [
            case("no sunset, hours asked for", at(), earliest_start_after_sunset=1800, sunset=None),
            case(
                "no sunset, last hour asked for", at(), latest_end_after_sunset=16200, sunset=None
            ),
            case("no sunset, no hours asked for", sunset=None),
        ],
        "sunset-unknown": [
            case("the sunset was not worked out", at(), earliest_start_after_sunset=1800, sky={}),
            case("the sunset was not worked out, no hours asked for", sky={}),
        ],
    }
)
