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
            case("light rain", periods=[listened(1, sky=5)], wet_sky_codes=[8]),
            case("showers", at(1, "sky"), periods=[listened(1, sky=8)], wet_sky_codes=[8]),
            case(
                "showers at the end",
                at(field="end.sky"),
                periods=[listened(1, sky=5)],
                end={"sky": 8},
                wet_sky_codes=[8],
            ),
            case(
                "snow where snow is not allowed",
                at(1, "sky"),
                periods=[listened(1, sky=7)],
                wet_sky_codes=[7, 8],
            ),
            case(
                "a code that has no words",
                at(1, "sky"),
                periods=[listened(1, sky=9)],
                wet_sky_codes=[8, 9],
            ),
        ],
        "noise-too-loud": [
            case("2 of 2", periods=[listened(1, noise_index=2)], max_noise_index=2),
            case(
                "3 of 2",
                at(1, "noise_index"),
                periods=[listened(1, noise_index=3)],
                max_noise_index=2,
            ),
            case("4 without a limit", periods=[listened(1, noise_index=4)]),
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
            case("nothing written down", at(field="sky"), wet_sky_codes=[8]),
            case("clear is a reading", periods=[listened(1, sky=0)], wet_sky_codes=[8]),
        ],
        "noise-missing": [
            case("nothing written down", at(field="noise_index"), max_noise_index=2),
            case("silence is a reading", periods=[listened(1, noise_index=0)], max_noise_index=2),
            case(
                "at one of two stops",
                at(2, "noise_index"),
                periods=[listened(1, noise_index=0), listened(2)],
                stops=2,
                max_noise_index=2,
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
        "unknown-sky-code": [
            case("0", periods=[listened(1, sky=0)]),
            case("3", at(1, "sky"), periods=[listened(1, sky=3)]),
            case("5", periods=[listened(1, sky=5)]),
            case("6", at(1, "sky"), periods=[listened(1, sky=6)]),
            case("8", periods=[listened(1, sky=8)]),
            case("9", at(1, "sky"), periods=[listened(1, sky=9)]),
            case("-1", at(1, "sky"), periods=[listened(1, sky=-1)]),
            case("3 at the start", at(field="start.sky"), start={"sky": 3}),
        ],
        "unknown-wind-force": [
            case("0", periods=[listened(1, beaufort=0)]),
            case("12", periods=[listened(1, beaufort=12)]),
            case("13", at(1, "beaufort"), periods=[listened(1, beaufort=13)]),
            case("-1", at(1, "beaufort"), periods=[listened(1, beaufort=-1)]),
        ],
        "unknown-noise-index": [
            case("0", periods=[listened(1, noise_index=0)]),
            case("4", periods=[listened(1, noise_index=4)]),
            case("5", at(1, "noise_index"), periods=[listened(1, noise_index=5)]),
            case("-1", at(1, "noise_index"), periods=[listened(1, noise_index=-1)]),
        ],
    }
)
