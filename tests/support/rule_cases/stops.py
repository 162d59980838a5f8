"""Cases of the rules in surveys/protocol/rules/stops.py, on both sides of every threshold."""

from tests.support.rule_cases.writing import (
    at,
    case,
    listened,
    rows,
    skipped,
)

CASES = rows(
    {
        "unknown-stop": [
            case("a stop the route has"),
            case(
                "a stop the route has not",
                at(4),
                periods=[listened(1), listened(4, "20:41", "20:46")],
            ),
            case("a route without stops on that night", at(1), stops=[]),
        ],
        "stop-changed": [
            case("the stops of the night", periods=[listened(1), listened(2)], stops=2),
            case(
                "one closed, one moved, one closed and skipped",
                at(1),
                at(2),
                periods=[listened(1), listened(2), skipped(3)],
                stops=3,
                uses={1: "closed", 2: "replaced", 3: "closed"},
            ),
        ],
        "twice-the-same-stop": [
            case("each stop once", periods=[listened(1), listened(2)], stops=2),
            case("stop 1 twice", at(1), periods=[listened(1), listened(1, "20:41", "20:46")]),
        ],
        "too-few-stops": [
            case("two of two", periods=[listened(1), listened(2)], stops=2, min_stops=2),
            case(
                "one of two, one skipped",
                at(),
                periods=[listened(1), skipped(2)],
                stops=2,
                min_stops=2,
            ),
            case(
                "a stop written twice counts once",
                at(),
                periods=[listened(1), listened(1, "20:41", "20:46")],
                min_stops=2,
            ),
            case("nobody listened anywhere", at(), periods=[skipped(1)]),
        ],
        "stop-left-blank": [
            case("skipped is not blank", periods=[listened(1), skipped(2)], stops=2),
            case("stops 2 and 3 are blank", at(), stops=3),
        ],
        "stops-out-of-order": [
            case("in order", periods=[listened(1), listened(2), listened(3)], stops=3),
            case(
                "1, 3, 2",
                at(2, "started_at"),
                periods=[listened(1), listened(2, "20:51", "20:56"), listened(3, "20:41", "20:46")],
                stops=3,
            ),
            case(
                "1, 3, 2 where any order will do",
                periods=[listened(1), listened(2, "20:51", "20:56"), listened(3, "20:41", "20:46")],
                stops=3,
                stops_in_order=False,
            ),
            case(
                "over midnight in order",
                periods=[
                    listened(1, "23:40", "23:45"),
                    listened(2, "23:55", "00:00"),
                    listened(3, "00:10", "00:15"),
                ],
                stops=3,
            ),
        ],
        "far-from-stop": [
            case(
                "exactly at the stop where nothing else will do",
                periods=[listened(1, measured_at={"latitude": 43.0731, "longitude": -89.4012})],
                max_distance_from_stop_m=0,
            ),
            case(
                "99 m away",
                periods=[listened(1, measured_at={"latitude": 43.07399, "longitude": -89.4012})],
            ),
            case(
                "101 m away",
                at(1, "measured_at"),
                periods=[listened(1, measured_at={"latitude": 43.07401, "longitude": -89.4012})],
            ),
            case(
                "101 m away, accurate to 2 m",
                periods=[
                    listened(
                        1,
                        measured_at={"latitude": 43.07401, "longitude": -89.4012},
                        measured_accuracy_m=2,
                    )
                ],
            ),
            case(
                "201 m away, accurate to 50 m",
                at(1, "measured_at"),
                periods=[
                    listened(
                        1,
                        measured_at={"latitude": 43.07491, "longitude": -89.4012},
                        measured_accuracy_m=50,
                    )
                ],
            ),
            case(
                "101 m away, in a program that counts in miles",
                at(1, "measured_at"),
                periods=[
                    listened(
                        1,
                        measured_at={"latitude": 43.07401, "longitude": -89.4012},
                        measured_accuracy_m=0.0,
                    )
                ],
                distance_unit="mi",
            ),
            case(
                "far away without a limit",
                periods=[listened(1, measured_at={"latitude": 43.2, "longitude": -89.4012})],
                max_distance_from_stop_m=None,
            ),
            case("not measured"),
        ],
        "stops-too-close": [
            case(
                "788 m where 788 m are wanted",
                periods=[listened(1), listened(2)],
                stops=[(45, 0), (45, 0.01)],
                min_stop_spacing_m=788.4,
            ),
            case(
                "788 m where 800 m are wanted",
                at(2),
                periods=[listened(1), listened(2)],
                stops=[(45, 0), (45, 0.01)],
                min_stop_spacing_m=800,
            ),
            case(
                "the nearest of the other stops counts",
                at(2),
                at(3),
                periods=[listened(1), listened(2), listened(3)],
                stops=3,
                min_stop_spacing_m=1500,
            ),
            case(
                "half a mile, in miles",
                at(2),
                periods=[listened(1), listened(2)],
                stops=[(45, 0), (45, 0.01)],
                distance_unit="mi",
                min_stop_spacing_m=804.672,
            ),
            case(
                "804.8 m where half a mile is wanted",
                periods=[listened(1), listened(2)],
                stops=[(45, 0), (45, 0.010207)],
                min_stop_spacing_m=804.672,
            ),
        ],
    }
)
