"""Cases of the rules in surveys/protocol/rules/weather.py, on both sides of every threshold."""

from tests.support.rule_cases.writing import (
    at,
    case,
    celsius,
    fahrenheit,
    listened,
    rows,
    skipped,
    window,
)

CASES = rows(
    {
        "too-cold": [
            case(
                "42 °F where 42 °F is the limit",
                periods=[listened(1, air_temperature=fahrenheit("42"))],
                temperature_unit="F",
                windows=[window("Early", "04-01", "04-30", min_air_temperature=fahrenheit("42"))],
            ),
            case(
                "41.9 °F where 42 °F is the limit",
                at(1, "air_temperature"),
                periods=[listened(1, air_temperature=fahrenheit("41.9"))],
                temperature_unit="F",
                windows=[window("Early", "04-01", "04-30", min_air_temperature=fahrenheit("42"))],
            ),
            case(
                "5.5 °C where 42 °F is the limit",
                at(1, "air_temperature"),
                periods=[listened(1, air_temperature=celsius("5.5"))],
                temperature_unit="F",
                windows=[window("Early", "04-01", "04-30", min_air_temperature=fahrenheit("42"))],
            ),
            case(
                "5.6 °C where 42 °F is the limit",
                periods=[listened(1, air_temperature=celsius("5.6"))],
                temperature_unit="F",
                windows=[window("Early", "04-01", "04-30", min_air_temperature=fahrenheit("42"))],
            ),
            case(
                "42 °F where 5.6 °C is the limit",
                at(1, "air_temperature"),
                periods=[listened(1, air_temperature=fahrenheit("42"))],
                windows=[window("Early", "04-01", "04-30", min_air_temperature=celsius("5.6"))],
            ),
            case(
                "62.6 °F where 17 °C is the limit",
                periods=[listened(1, air_temperature=fahrenheit("62.6"))],
                windows=[window("Early", "04-01", "04-30", min_air_temperature=celsius("17"))],
            ),
            case(
                "62.5 °F where 17 °C is the limit",
                at(1, "air_temperature"),
                periods=[listened(1, air_temperature=fahrenheit("62.5"))],
                windows=[window("Early", "04-01", "04-30", min_air_temperature=celsius("17"))],
            ),
            case(
                "below zero",
                at(1, "air_temperature"),
                periods=[listened(1, air_temperature=celsius("-1"))],
                windows=[window("Early", "04-01", "04-30", min_air_temperature=celsius("0"))],
            ),
            case(
                "the readings of the start and the end",
                at(field="end.air_temperature"),
                start={"air_temperature": celsius("5")},
                end={"air_temperature": celsius("4.9")},
                windows=[window("Early", "04-01", "04-30", min_air_temperature=celsius("5"))],
            ),
            case("a window without a limit", periods=[listened(1, air_temperature=celsius("1"))]),
            case(
                "each window has its own limit",
                at(1, "air_temperature"),
                periods=[listened(1, air_temperature=celsius("9.9"))],
                windows=[
                    window("First", "03-01", "03-31", min_air_temperature=celsius("5")),
                    window("Second", "04-01", "04-30", min_air_temperature=celsius("10")),
                ],
            ),
            case(
                "cold at a skipped stop",
                periods=[
                    listened(1, air_temperature=celsius("6")),
                    skipped(2, air_temperature=celsius("2")),
                ],
                stops=2,
                windows=[window("Early", "04-01", "04-30", min_air_temperature=celsius("5"))],
            ),
        ],
        "water-too-cold": [
            case(
                "50 °F where 50 °F is the limit",
                periods=[listened(1, water_temperature=fahrenheit("50"))],
                windows=[window("Early", "04-01", "04-30", min_water_temperature=fahrenheit("50"))],
            ),
            case(
                "49.9 °F where 50 °F is the limit",
                at(1, "water_temperature"),
                periods=[listened(1, water_temperature=fahrenheit("49.9"))],
                windows=[window("Early", "04-01", "04-30", min_water_temperature=fahrenheit("50"))],
            ),
            case(
                "10 °C where 50 °F is the limit",
                periods=[listened(1, water_temperature=celsius("10"))],
                windows=[window("Early", "04-01", "04-30", min_water_temperature=fahrenheit("50"))],
            ),
            case(
                "9.9 °C where 50 °F is the limit",
                at(1, "water_temperature"),
                periods=[listened(1, water_temperature=celsius("9.9"))],
                temperature_unit="F",
                windows=[window("Early", "04-01", "04-30", min_water_temperature=fahrenheit("50"))],
            ),
        ],
        "too-windy": [
            case("force 3 of 3", periods=[listened(1, beaufort=3)], max_beaufort=3),
            case(
                "force 4 of 3", at(1, "beaufort"), periods=[listened(1, beaufort=4)], max_beaufort=3
            ),
            case(
                "force 4 at the start",
                at(field="start.beaufort"),
                periods=[listened(1, beaufort=3)],
                start={"beaufort": 4},
                max_beaufort=3,
            ),
            case("force 6 without a limit", periods=[listened(1, beaufort=6)]),
        ],
        "wet-sky": [
            case(
                "light rain",
                periods=[listened(1, sky="light_rain")],
                forbidden_skies=["heavy_rain"],
            ),
            case(
                "heavy rain",
                at(1, "sky"),
                periods=[listened(1, sky="heavy_rain")],
                forbidden_skies=["heavy_rain"],
            ),
            case(
                "showers at the end",
                at(field="end.sky"),
                periods=[listened(1, sky="light_rain")],
                end={"sky": "heavy_rain"},
                forbidden_skies=["heavy_rain"],
            ),
            case(
                "snow where snow is not allowed",
                at(1, "sky"),
                periods=[listened(1, sky="snow")],
                forbidden_skies=["snow", "heavy_rain"],
            ),
        ],
        "out-in-thunder": [
            case(
                "thunder where the protocol forbids it",
                at(1, "sky"),
                periods=[listened(1, sky="thunder")],
                forbidden_skies=["thunder"],
            ),
            case(
                "thunder where the protocol forbids nothing",
                at(1, "sky"),
                periods=[listened(1, sky="thunder")],
            ),
            case(
                "thunder at the start",
                at(field="start.sky"),
                periods=[listened(1)],
                start={"sky": "thunder"},
            ),
            case("heavy rain", periods=[listened(1, sky="heavy_rain")]),
        ],
        "noise-too-loud": [
            case(
                "as loud as allowed",
                periods=[listened(1, noise="faint_lost")],
                loudest_noise="faint_lost",
            ),
            case(
                "3 of 2",
                at(1, "noise"),
                periods=[listened(1, noise="loud_only")],
                loudest_noise="faint_lost",
            ),
            case("without a limit", periods=[listened(1, noise="all_lost")]),
        ],
        "temperature-missing": [
            case("no limit"),
            case(
                "nothing written down",
                at(field="air_temperature"),
                windows=[window("Early", "04-01", "04-30", min_air_temperature=celsius("5"))],
            ),
            case(
                "only at the start",
                at(field="end.air_temperature"),
                start={"air_temperature": celsius("7")},
                windows=[window("Early", "04-01", "04-30", min_air_temperature=celsius("5"))],
            ),
            case(
                "only at the end",
                at(field="start.air_temperature"),
                end={"air_temperature": celsius("7")},
                windows=[window("Early", "04-01", "04-30", min_air_temperature=celsius("5"))],
            ),
            case(
                "at the start and the end",
                start={"air_temperature": celsius("7")},
                end={"air_temperature": celsius("7")},
                windows=[window("Early", "04-01", "04-30", min_air_temperature=celsius("5"))],
            ),
            case(
                "at one of two stops",
                at(2, "air_temperature"),
                periods=[listened(1, air_temperature=celsius("7")), listened(2)],
                stops=2,
                windows=[window("Early", "04-01", "04-30", min_air_temperature=celsius("5"))],
            ),
            case(
                "at the only stop that was listened to",
                periods=[listened(1, air_temperature=celsius("7")), skipped(2)],
                stops=2,
                windows=[window("Early", "04-01", "04-30", min_air_temperature=celsius("5"))],
            ),
        ],
        "water-temperature-missing": [
            case("no limit"),
            case(
                "nothing written down",
                at(field="water_temperature"),
                windows=[window("Early", "04-01", "04-30", min_water_temperature=celsius("10"))],
            ),
            case(
                "written down",
                periods=[listened(1, water_temperature=celsius("10"))],
                windows=[window("Early", "04-01", "04-30", min_water_temperature=celsius("10"))],
            ),
        ],
        "wind-missing": [
            case("nothing written down", at(field="beaufort"), max_beaufort=3),
            case("calm is a reading", periods=[listened(1, beaufort=0)], max_beaufort=3),
            case(
                "only at the start", at(field="end.beaufort"), start={"beaufort": 1}, max_beaufort=3
            ),
        ],
        "sky-missing": [
            case("nothing written down", at(field="sky"), forbidden_skies=["heavy_rain"]),
            case(
                "clear is a reading",
                periods=[listened(1, sky="clear")],
                forbidden_skies=["heavy_rain"],
            ),
        ],
        "noise-missing": [
            case("nothing written down", at(field="noise"), loudest_noise="faint_lost"),
            case(
                "silence is a reading",
                periods=[listened(1, noise="quiet")],
                loudest_noise="faint_lost",
            ),
            case(
                "at one of two stops",
                at(2, "noise"),
                periods=[listened(1, noise="quiet"), listened(2)],
                stops=2,
                loudest_noise="faint_lost",
            ),
        ],
        "temperature-implausible": [
            case("-15 °C", periods=[listened(1, air_temperature=celsius("-15"))]),
            case(
                "-15.1 °C",
                at(1, "air_temperature"),
                periods=[listened(1, air_temperature=celsius("-15.1"))],
            ),
            case("45 °C", periods=[listened(1, air_temperature=celsius("45"))]),
            case(
                "45.1 °C",
                at(1, "air_temperature"),
                periods=[listened(1, air_temperature=celsius("45.1"))],
            ),
            case(
                "113 °F",
                periods=[listened(1, air_temperature=fahrenheit("113"))],
                temperature_unit="F",
            ),
            case(
                "113.1 °F",
                at(1, "air_temperature"),
                periods=[listened(1, air_temperature=fahrenheit("113.1"))],
                temperature_unit="F",
            ),
            case(
                "5 °F", periods=[listened(1, air_temperature=fahrenheit("5"))], temperature_unit="F"
            ),
            case(
                "4.9 °F",
                at(1, "air_temperature"),
                periods=[listened(1, air_temperature=fahrenheit("4.9"))],
                temperature_unit="F",
            ),
            case(
                "water, and the unit of the other scale",
                at(1, "water_temperature"),
                periods=[listened(1, water_temperature=celsius("55"))],
                temperature_unit="F",
            ),
            case(
                "at the start",
                at(field="start.air_temperature"),
                start={"air_temperature": celsius("55")},
            ),
        ],
        "unknown-wind-force": [
            case("0", periods=[listened(1, beaufort=0)]),
            case("12", periods=[listened(1, beaufort=12)]),
            case("13", at(1, "beaufort"), periods=[listened(1, beaufort=13)]),
            case("-1", at(1, "beaufort"), periods=[listened(1, beaufort=-1)]),
        ],
    }
)
