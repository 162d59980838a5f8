"""The one table of the rules, in the order in which their findings are shown."""

from __future__ import annotations

from surveys.protocol.rules import (
    night,
    observer,
    species,
    stops,
    times,
    weather,
)
from surveys.protocol.rules.rule import (
    Check,
    Rule,
)
from surveys.protocol.values import Severity


def _rule(
    code: str, severity: Severity, check: Check, summary: str, *, on_phone: bool = False
) -> Rule:
    return Rule(code=code, severity=severity, summary=summary, check=check, on_phone=on_phone)


_REFUSE, _QUERY, _NOTE = Severity.REFUSE, Severity.QUERY, Severity.NOTE

RULES: tuple[Rule, ...] = (
    # The night
    _rule("future-night", _REFUSE, night.future_night, "The night has come."),
    _rule(
        "outside-window",
        _QUERY,
        night.outside_window,
        "The night lies in a season window.",
        on_phone=True,
    ),
    _rule(
        "same-night-twice", _QUERY, night.same_night_twice, "A route has one visit on one night."
    ),
    _rule(
        "too-soon-after-last-visit",
        _QUERY,
        night.too_soon_after_last_visit,
        "Enough days lie between two visits of a route.",
    ),
    _rule(
        "window-visited-before",
        _NOTE,
        night.window_visited_before,
        "A route has one visit in each window.",
    ),
    # The observer
    _rule(
        "observer-not-qualified",
        _QUERY,
        observer.observer_not_qualified,
        "The observer passed the listening test that the protocol asks for.",
    ),
    _rule(
        "training-unknown",
        _NOTE,
        observer.training_unknown,
        "It is known whether the observer passed a listening test.",
    ),
    # The stops
    _rule("unknown-stop", _REFUSE, stops.unknown_stop, "Every stop belongs to the route."),
    _rule(
        "twice-the-same-stop",
        _REFUSE,
        stops.twice_the_same_stop,
        "A stop is written down once in a visit.",
    ),
    _rule("too-few-stops", _QUERY, stops.too_few_stops, "Enough stops were listened to."),
    _rule(
        "stop-left-blank",
        _NOTE,
        stops.stop_left_blank,
        "Every stop is listened to or marked as skipped.",
    ),
    _rule(
        "stops-out-of-order",
        _QUERY,
        stops.stops_out_of_order,
        "The stops were surveyed in the order of their numbers.",
    ),
    _rule(
        "far-from-stop",
        _QUERY,
        stops.far_from_stop,
        "The listening took place at the stop.",
        on_phone=True,
    ),
    _rule(
        "stops-too-close",
        _NOTE,
        stops.stops_too_close,
        "The stops lie far enough apart.",
    ),
    # Times
    _rule(
        "time-on-another-night",
        _REFUSE,
        night.time_on_another_night,
        "Every time belongs to the night of the visit.",
    ),
    _rule("future-time", _REFUSE, night.future_time, "Every time has come."),
    _rule(
        "start-before-arrival",
        _REFUSE,
        times.start_before_arrival,
        "The listening starts after the arrival.",
    ),
    _rule(
        "finish-before-start",
        _REFUSE,
        times.finish_before_start,
        "The listening ends after its start.",
    ),
    _rule(
        "pause-longer-than-listening",
        _REFUSE,
        times.pause_longer_than_listening,
        "A pause is not longer than the time from start to end.",
    ),
    _rule(
        "stops-overlap",
        _REFUSE,
        stops.stops_overlap,
        "The listening at one stop ends before the next stop begins.",
    ),
    _rule(
        "impossible-drive",
        _QUERY,
        stops.impossible_drive,
        "There was time to drive from stop to stop.",
    ),
    _rule(
        "times-missing",
        _QUERY,
        times.times_missing,
        "The times of every listening are written down.",
    ),
    _rule(
        "wait-too-short",
        _QUERY,
        times.wait_too_short,
        "The observer waited for the animals to settle.",
        on_phone=True,
    ),
    _rule(
        "listening-too-short",
        _QUERY,
        times.listening_too_short,
        "The listening took the full time, pauses not counted.",
        on_phone=True,
    ),
    _rule(
        "listening-too-long",
        _NOTE,
        times.listening_too_long,
        "The listening took no longer than the protocol allows.",
        on_phone=True,
    ),
    _rule(
        "pause-not-restarted",
        _QUERY,
        times.pause_not_restarted,
        "A broken listening was begun again where the protocol asks for it.",
    ),
    _rule(
        "before-dusk",
        _QUERY,
        night.before_dusk,
        "No listening starts before the earliest hour after sunset.",
        on_phone=True,
    ),
    _rule(
        "after-last-hour",
        _QUERY,
        night.after_last_hour,
        "No listening ends after the last hour.",
        on_phone=True,
    ),
    _rule(
        "sun-does-not-set",
        _NOTE,
        night.sun_does_not_set,
        "The sun sets, so that hours can be counted from sunset.",
        on_phone=True,
    ),
    _rule(
        "sunset-unknown",
        _NOTE,
        night.sunset_unknown,
        "The sunset at every stop is known.",
    ),
    # Weather and noise
    _rule("too-cold", _QUERY, weather.too_cold, "The air was warm enough.", on_phone=True),
    _rule(
        "water-too-cold",
        _QUERY,
        weather.water_too_cold,
        "The water was warm enough.",
        on_phone=True,
    ),
    _rule("too-windy", _QUERY, weather.too_windy, "The wind was weak enough.", on_phone=True),
    _rule("wet-sky", _QUERY, weather.wet_sky, "The sky allowed good hearing.", on_phone=True),
    _rule(
        "noise-too-loud",
        _QUERY,
        weather.noise_too_loud,
        "The stop was quiet enough.",
        on_phone=True,
    ),
    _rule(
        "temperature-missing",
        _QUERY,
        weather.temperature_missing,
        "The air temperature is written down where a limit is set.",
        on_phone=True,
    ),
    _rule(
        "water-temperature-missing",
        _QUERY,
        weather.water_temperature_missing,
        "The water temperature is written down where a limit is set.",
        on_phone=True,
    ),
    _rule(
        "wind-missing",
        _QUERY,
        weather.wind_missing,
        "The wind is written down where a limit is set.",
        on_phone=True,
    ),
    _rule(
        "sky-missing",
        _QUERY,
        weather.sky_missing,
        "The sky is written down where a limit is set.",
        on_phone=True,
    ),
    _rule(
        "noise-missing",
        _QUERY,
        weather.noise_missing,
        "The noise is written down where a limit is set.",
        on_phone=True,
    ),
    _rule(
        "temperature-implausible",
        _QUERY,
        weather.temperature_implausible,
        "A temperature is one that can be believed.",
        on_phone=True,
    ),
    _rule("unknown-sky-code", _REFUSE, weather.unknown_sky_code, "The sky code is a known one."),
    _rule(
        "unknown-wind-force",
        _REFUSE,
        weather.unknown_wind_force,
        "The wind force is on the Beaufort scale.",
    ),
    _rule(
        "unknown-noise-index",
        _REFUSE,
        weather.unknown_noise_index,
        "The noise index is a known one.",
    ),
    # Species
    _rule("index-impossible", _REFUSE, species.index_impossible, "A call index is 0, 1, 2 or 3."),
    _rule(
        "species-twice-at-stop",
        _REFUSE,
        species.species_twice_at_stop,
        "A species is written down once at a stop.",
    ),
    _rule(
        "calls-at-skipped-stop",
        _REFUSE,
        species.calls_at_skipped_stop,
        "No species is written down at a stop that was skipped.",
    ),
    _rule(
        "index-missing",
        _QUERY,
        species.index_missing,
        "Every species that was opened has a call index.",
        on_phone=True,
    ),
    _rule(
        "species-off-checklist",
        _QUERY,
        species.species_off_checklist,
        "Every species is on the checklist of the route.",
    ),
    _rule(
        "species-out-of-season",
        _QUERY,
        species.species_out_of_season,
        "Every species was heard in its calling season.",
        on_phone=True,
    ),
)

RULES_BY_CODE = {rule.code: rule for rule in RULES}
