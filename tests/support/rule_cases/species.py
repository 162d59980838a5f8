"""Cases of the rules in surveys/protocol/rules/species.py, on both sides of every threshold."""

from tests.support.rule_cases.writing import (
    CHECKLIST,
    at,
    call,
    case,
    listened,
    rows,
    skipped,
)

CASES = rows(
    {
        "index-impossible": [
            case(
                "0",
                periods=[listened(1, calls=[call("pseudacris-crucifer", 0)])],
                checklist=CHECKLIST,
            ),
            case(
                "1",
                periods=[listened(1, calls=[call("pseudacris-crucifer", 1)])],
                checklist=CHECKLIST,
            ),
            case(
                "3",
                periods=[listened(1, calls=[call("pseudacris-crucifer", 3)])],
                checklist=CHECKLIST,
            ),
            case(
                "4",
                at(1, "index", "pseudacris-crucifer"),
                periods=[listened(1, calls=[call("pseudacris-crucifer", 4)])],
                checklist=CHECKLIST,
            ),
            case(
                "-1",
                at(1, "index", "pseudacris-crucifer"),
                periods=[listened(1, calls=[call("pseudacris-crucifer", -1)])],
                checklist=CHECKLIST,
            ),
        ],
        "species-twice-at-stop": [
            case(
                "twice",
                at(1, "index", "pseudacris-crucifer"),
                periods=[
                    listened(
                        1, calls=[call("pseudacris-crucifer", 1), call("pseudacris-crucifer", 2)]
                    )
                ],
                checklist=CHECKLIST,
            ),
            case(
                "two species",
                periods=[
                    listened(
                        1, calls=[call("pseudacris-crucifer", 1), call("scaphiopus-holbrookii", 1)]
                    )
                ],
                checklist=CHECKLIST,
            ),
            case(
                "at two stops",
                periods=[
                    listened(1, calls=[call("pseudacris-crucifer", 1)]),
                    listened(2, calls=[call("pseudacris-crucifer", 1)]),
                ],
                stops=2,
                checklist=CHECKLIST,
            ),
        ],
        "calls-at-skipped-stop": [
            case(
                "heard at a skipped stop",
                at(2, "index", "pseudacris-crucifer"),
                periods=[listened(1), skipped(2, calls=[call("pseudacris-crucifer", 1)])],
                stops=2,
                checklist=CHECKLIST,
            ),
            case(
                "a zero at a skipped stop",
                at(2, "index", "pseudacris-crucifer"),
                periods=[listened(1), skipped(2, calls=[call("pseudacris-crucifer", 0)])],
                stops=2,
                checklist=CHECKLIST,
            ),
            case(
                "an empty cell at a skipped stop",
                periods=[listened(1), skipped(2, calls=[call("pseudacris-crucifer", None)])],
                stops=2,
                checklist=CHECKLIST,
            ),
            case(
                "not sure at a skipped stop",
                at(2, "index", "pseudacris-crucifer"),
                periods=[
                    listened(1),
                    skipped(2, calls=[call("pseudacris-crucifer", None, not_sure=True)]),
                ],
                stops=2,
                checklist=CHECKLIST,
            ),
        ],
        "index-missing": [
            case(
                "no answer",
                at(1, "index", "pseudacris-crucifer"),
                periods=[listened(1, calls=[call("pseudacris-crucifer", None)])],
                checklist=CHECKLIST,
            ),
            case(
                "heard, not sure",
                periods=[listened(1, calls=[call("pseudacris-crucifer", None, not_sure=True)])],
                checklist=CHECKLIST,
            ),
            case(
                "not heard",
                periods=[listened(1, calls=[call("pseudacris-crucifer", 0)])],
                checklist=CHECKLIST,
            ),
        ],
        "distance-missing": [
            case(
                "no mark",
                at(1, "index", "pseudacris-crucifer"),
                periods=[listened(1, calls=[call("pseudacris-crucifer", 2)])],
                checklist=CHECKLIST,
                listening_radius_m=100.0,
            ),
            case(
                "near",
                periods=[listened(1, calls=[call("pseudacris-crucifer", 2, distance="near")])],
                checklist=CHECKLIST,
                listening_radius_m=100.0,
            ),
            case(
                "far",
                periods=[listened(1, calls=[call("pseudacris-crucifer", 3, distance="far")])],
                checklist=CHECKLIST,
                listening_radius_m=100.0,
            ),
            case(
                "a zero",
                periods=[listened(1, calls=[call("pseudacris-crucifer", 0)])],
                checklist=CHECKLIST,
                listening_radius_m=100.0,
            ),
            case(
                "heard, not sure",
                periods=[listened(1, calls=[call("pseudacris-crucifer", None, not_sure=True)])],
                checklist=CHECKLIST,
                listening_radius_m=100.0,
            ),
            case(
                "no mark where there is no radius",
                periods=[listened(1, calls=[call("pseudacris-crucifer", 2)])],
                checklist=CHECKLIST,
            ),
            case(
                "no mark at a skipped stop",
                periods=[listened(1), skipped(2, calls=[call("pseudacris-crucifer", 1)])],
                stops=2,
                checklist=CHECKLIST,
                listening_radius_m=100.0,
            ),
        ],
        "distance-not-asked": [
            case(
                "far where there is no radius",
                at(1, "index", "pseudacris-crucifer"),
                periods=[listened(1, calls=[call("pseudacris-crucifer", 2, distance="far")])],
                checklist=CHECKLIST,
            ),
            case(
                "far within a radius",
                periods=[listened(1, calls=[call("pseudacris-crucifer", 2, distance="far")])],
                checklist=CHECKLIST,
                listening_radius_m=100.0,
            ),
            case(
                "no mark and no radius",
                periods=[listened(1, calls=[call("pseudacris-crucifer", 2)])],
                checklist=CHECKLIST,
            ),
        ],
        "species-off-checklist": [
            case(
                "on the checklist",
                periods=[listened(1, calls=[call("pseudacris-crucifer", 1)])],
                checklist=CHECKLIST,
            ),
            case(
                "off the checklist",
                at(1, "index", "acris-crepitans"),
                periods=[listened(1, calls=[call("acris-crepitans", 1)])],
                checklist=CHECKLIST,
            ),
            case(
                "off the checklist and not heard",
                periods=[listened(1, calls=[call("acris-crepitans", 0)])],
                checklist=CHECKLIST,
            ),
            case("no checklist is kept", periods=[listened(1, calls=[call("acris-crepitans", 1)])]),
        ],
        "species-out-of-season": [
            case(
                "season over New Year, night 2024-10-31",
                at(1, "index", "pseudacris-ornata"),
                night="2024-10-31",
                periods=[listened(1, "21:31", "21:36", calls=[call("pseudacris-ornata", 1)])],
                checklist=CHECKLIST,
                windows=[],
                sunset="2024-11-01T00:00:00Z",
                now="2025-12-01T00:00:00Z",
            ),
            case(
                "season over New Year, night 2024-11-01",
                night="2024-11-01",
                periods=[listened(1, "21:31", "21:36", calls=[call("pseudacris-ornata", 1)])],
                checklist=CHECKLIST,
                windows=[],
                sunset="2024-11-02T00:00:00Z",
                now="2025-12-01T00:00:00Z",
            ),
            case(
                "season over New Year, night 2024-12-31",
                night="2024-12-31",
                periods=[listened(1, calls=[call("pseudacris-ornata", 1)])],
                checklist=CHECKLIST,
                windows=[],
                sunset="2025-01-01T00:00:00Z",
                now="2025-12-01T00:00:00Z",
            ),
            case(
                "season over New Year, night 2025-01-01",
                night="2025-01-01",
                periods=[listened(1, calls=[call("pseudacris-ornata", 1)])],
                checklist=CHECKLIST,
                windows=[],
                sunset="2025-01-02T00:00:00Z",
                now="2025-12-01T00:00:00Z",
            ),
            case(
                "season over New Year, night 2024-02-29",
                night="2024-02-29",
                periods=[listened(1, calls=[call("pseudacris-ornata", 1)])],
                checklist=CHECKLIST,
                windows=[],
                sunset="2024-03-01T00:00:00Z",
                now="2025-12-01T00:00:00Z",
            ),
            case(
                "season over New Year, night 2025-03-31",
                night="2025-03-31",
                periods=[listened(1, "21:31", "21:36", calls=[call("pseudacris-ornata", 1)])],
                checklist=CHECKLIST,
                windows=[],
                sunset="2025-04-01T00:00:00Z",
                now="2025-12-01T00:00:00Z",
            ),
            case(
                "season over New Year, night 2025-04-01",
                at(1, "index", "pseudacris-ornata"),
                night="2025-04-01",
                periods=[listened(1, "21:31", "21:36", calls=[call("pseudacris-ornata", 1)])],
                checklist=CHECKLIST,
                windows=[],
                sunset="2025-04-02T00:00:00Z",
                now="2025-12-01T00:00:00Z",
            ),
            case(
                "not heard",
                night="2025-04-01",
                periods=[listened(1, "21:31", "21:36", calls=[call("pseudacris-ornata", 0)])],
                checklist=CHECKLIST,
                windows=[],
                sunset="2025-04-02T00:00:00Z",
                now="2025-12-01T00:00:00Z",
            ),
            case(
                "heard, not sure",
                night="2025-04-01",
                periods=[
                    listened(
                        1, "21:31", "21:36", calls=[call("pseudacris-ornata", 1, not_sure=True)]
                    )
                ],
                checklist=CHECKLIST,
                windows=[],
                sunset="2025-04-02T00:00:00Z",
                now="2025-12-01T00:00:00Z",
            ),
            case(
                "a species without a season",
                night="2025-04-01",
                periods=[listened(1, "21:31", "21:36", calls=[call("scaphiopus-holbrookii", 1)])],
                checklist=CHECKLIST,
                windows=[],
                sunset="2025-04-02T00:00:00Z",
                now="2025-12-01T00:00:00Z",
            ),
            case(
                "the first day of spring",
                night="2025-03-01",
                periods=[listened(1, calls=[call("pseudacris-crucifer", 3)])],
                checklist=CHECKLIST,
                windows=[],
                sunset="2025-03-02T00:00:00Z",
                now="2025-12-01T00:00:00Z",
            ),
            case(
                "the day before the first day of spring",
                at(1, "index", "pseudacris-crucifer"),
                night="2025-02-28",
                periods=[listened(1, calls=[call("pseudacris-crucifer", 3)])],
                checklist=CHECKLIST,
                windows=[],
                sunset="2025-03-01T00:00:00Z",
                now="2025-12-01T00:00:00Z",
            ),
        ],
    }
)
