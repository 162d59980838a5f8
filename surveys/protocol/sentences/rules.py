"""What the rules say. The phone has the same sentences from `deploy/generate`."""

from __future__ import annotations

from surveys.language import gettext_noop as _
from surveys.language import ngettext_lazy
from surveys.protocol.sentences.sentence import Sentence, Sentences

_FILL_IT_IN = _("Fill it in if someone noted it; if no one did, leave it blank.")
_LEAVE_IT = _("If it is right, leave it as is. The coordinator will decide whether it counts.")
_BREAK_OFF = _("If you are still out, stop for tonight and try another night.")
_CHECK_TIME = _("Check the time.")
_CHECK_DATE = _("Check the date.")
_DATE_OF_EVENING = _(
    "Check the date. Use the date on which the evening began, even if you finished after midnight."
)
_CORRECT_TIME = _("Correct one of the two times, or clear it if no one remembers.")
_WRITE_DOWN = _("Write it down if someone noted it. Otherwise the coordinator will decide.")
_CHECK_SIGN = _("Check the number, its sign and its unit (°C or °F).")

_NIGHT: Sentences = {
    "future-night": Sentence(
        _("The night of {night} is in the future."),
        (_DATE_OF_EVENING,),
    ),
    "outside-window": Sentence(
        _("The night of {night} is outside every survey window: {windows}."),
        (_DATE_OF_EVENING, _LEAVE_IT),
    ),
    "same-night-twice": Sentence(
        _("This route already has a visit on the night of {night}."),
        (
            _("Check the route and the date."),
            _(
                "If two people surveyed the route that night, leave it as is."
                " The coordinator will decide which visit counts."
            ),
        ),
    ),
    "too-soon-after-last-visit": Sentence(
        _(
            "This visit is only {gap} from the one on the night of {other};"
            " the protocol asks for {wanted}."
        ),
        (_CHECK_DATE, _LEAVE_IT),
    ),
    "window-visited-before": Sentence(
        _("The window “{window}” already has a visit of this route, on the night of {others}."),
        (
            _("Nothing to fix if you meant to make an extra visit."),
            _("Otherwise check the date."),
        ),
    ),
}

_OBSERVER: Sentences = {
    "observer-not-qualified": Sentence(
        _(
            "The protocol asks for a passed call-identification test, and none is on record"
            " for the observer of this visit."
        ),
        (
            _("If you passed it, tell the coordinator the date."),
            _("The coordinator will decide whether the visit counts."),
        ),
    ),
    "training-unknown": Sentence(
        _(
            "The protocol asks for a passed call-identification test, but no tests are on"
            " record, so we cannot check this."
        ),
        (_("Nothing to fix in this visit."),),
    ),
}

_STOPS: Sentences = {
    "unknown-stop": Sentence(
        _("Route {route} has no stop {stop}."),
        (_("Correct the number."), _("The route has {stops}.")),
    ),
    "unknown-stop.no-stops": Sentence(
        _("Route {route} has no stop {stop}."),
        (_("Correct the number."), _("The route has no stops on this night.")),
    ),
    "twice-the-same-stop": Sentence(
        _("Stop {stop} is on the sheet {times}."),
        (_("Keep one of them, or correct the number of the stop."),),
    ),
    "too-few-stops": Sentence(
        ngettext_lazy(
            "You surveyed {listened} stop; the protocol asks for at least {wanted}.",
            "You surveyed {listened} stops; the protocol asks for at least {wanted}.",
            "listened",
        ),
        (_("If you surveyed more stops, add them."), _LEAVE_IT),
    ),
    "stop-left-blank": Sentence(
        _("You left {stops} blank. A blank stop counts as not surveyed, not as silent."),
        (_("If no one listened there, mark it as skipped and say why."),),
    ),
    "stops-out-of-order": Sentence(
        _(
            "By their times, you surveyed the stops in the order {order};"
            " the protocol asks for the order of their numbers."
        ),
        (_("Check the times and the numbers of the stops."), _LEAVE_IT),
    ),
    "far-from-stop": Sentence(
        _("You were {distance} from stop {stop}; the protocol allows {most}."),
        (
            _("Check that this is the right stop."),
            _("If you can no longer use the stop, tell the coordinator."),
            _LEAVE_IT,
        ),
    ),
    "far-from-stop.accuracy": Sentence(
        _(
            "You were {distance} (give or take {accuracy}) from stop {stop};"
            " the protocol allows {most}."
        ),
        (
            _("Check that this is the right stop."),
            _("If you can no longer use the stop, tell the coordinator."),
            _LEAVE_IT,
        ),
    ),
    "stops-too-close": Sentence(
        _(
            "Stops {nearest} and {stop} are {distance} apart; the protocol asks for {wanted},"
            " so that you do not hear the same callers twice."
        ),
        (
            _("Nothing to fix in this visit."),
            _("The coordinator can move a stop."),
        ),
    ),
}

_TIMES: Sentences = {
    "time-on-another-night": Sentence(
        _(
            "{time} at stop {stop} belongs to the night of {night}, but this visit is for the"
            " night of {visit_night}."
        ),
        (
            _("Correct the time or the date."),
            _("A night lasts from noon to noon. Use the date on which the evening began."),
        ),
    ),
    "future-time": Sentence(
        _("{time} at stop {stop} is in the future."),
        (_("Check the date of the night, the time, and the clock of the phone."),),
    ),
    "start-before-arrival": Sentence(
        _("Listening at stop {stop} starts at {start}, before the arrival at {arrival}."),
        (_CORRECT_TIME,),
    ),
    "finish-before-start": Sentence(
        _("Listening at stop {stop} ends at {end}, which is not after its start at {start}."),
        (_CORRECT_TIME,),
    ),
    "pause-longer-than-listening": Sentence(
        _("The pause of {pause} at stop {stop} is longer than the time from start to end."),
        (_("Correct the pause, the start or the end."),),
    ),
    "pause-longer-than-listening.below-zero": Sentence(
        _("The pause at stop {stop} is less than zero."),
        (_("Correct the pause, the start or the end."),),
    ),
    "stops-overlap": Sentence(
        _("Stop {stop} starts at {start}, while listening at stop {busy} runs until {end}."),
        (
            _(
                "You cannot be at two stops at once. Correct a time,"
                " or clear it if no one remembers."
            ),
        ),
    ),
    "impossible-drive": Sentence(
        _(
            "It is {distance} in a straight line from stop {from} to stop {to}, with only"
            " {between} between the two: that would be faster than {fastest}."
        ),
        (_("Check the times and the numbers of the two stops."), _LEAVE_IT),
    ),
    "times-missing": Sentence(
        _("Stop {stop} has no time for the {missing}, so we cannot check the times."),
        (_("Write down the time, or mark the stop as skipped if no one listened."),),
    ),
    "wait-too-short": Sentence(
        _("The quiet wait at stop {stop} was {waited}; the protocol asks for {wanted}."),
        (_("If you are still at the stop, wait quietly and listen again."), _LEAVE_IT),
    ),
    "listening-too-short": Sentence(
        _("You listened at stop {stop} for {length}; the protocol asks for {wanted}."),
        (_("If you are still at the stop, listen again for the full time."), _LEAVE_IT),
    ),
    "listening-too-short.pause": Sentence(
        _(
            "You listened at stop {stop} for {length} (not counting a pause of {pause});"
            " the protocol asks for {wanted}."
        ),
        (_("If you are still at the stop, listen again for the full time."), _LEAVE_IT),
    ),
    "listening-too-long": Sentence(
        _(
            "You listened at stop {stop} for {length};"
            " the protocol asks for no more than {longest}."
        ),
        (_("Check the times."), _("If there was a pause, enter how long it was.")),
    ),
    "pause-not-restarted": Sentence(
        _(
            "You paused at stop {stop} for {pause};"
            " the protocol asks you to start over after a loud event."
        ),
        (
            _("If you did start over, enter the times of the full listening period and no pause."),
            _LEAVE_IT,
        ),
    ),
}

_HOURS: Sentences = {
    "before-dusk": Sentence(
        _(
            "Listening at stop {stop} starts at {start}; the earliest start is {earliest}"
            " ({limit})."
        ),
        (_CHECK_TIME, _("If you are at the stop, wait and start over."), _LEAVE_IT),
    ),
    "after-last-hour": Sentence(
        _("Listening at stop {stop} ends at {end}; the latest end is {latest}."),
        (_CHECK_TIME, _LEAVE_IT),
    ),
    "sun-does-not-set": Sentence(
        _("The sun does not set or rise here this night ({stops}), so we cannot check the hours."),
        (_("Nothing to fix."), _("The coordinator will judge the hours.")),
    ),
    "sunset-unknown": Sentence(
        _("The sunset at {stops} is not known yet, so we cannot check the hours."),
        (_("Nothing to fix."), _("The server calculates it once you send the visit.")),
    ),
}

_LIMIT_UNKNOWN = Sentence(
    _("Stop {stop} has no {reading}, so we cannot check the limit."),
    (_WRITE_DOWN,),
)
_LIMIT_UNKNOWN_VISIT = Sentence(
    _("The visit has no {reading}, so we cannot check the limit."),
    (_WRITE_DOWN,),
)
_LIMIT_UNKNOWN_SIDE = Sentence(
    _("The {side} of the visit and the stops have no {reading}, so we cannot check the limit."),
    (_WRITE_DOWN,),
)

_WEATHER: Sentences = {
    "too-cold": Sentence(
        _(
            "{reading} {place} is below {lowest}, the minimum air temperature of the window"
            " “{window}”."
        ),
        (_("Check the reading."), _BREAK_OFF, _LEAVE_IT),
    ),
    "water-too-cold": Sentence(
        _(
            "{reading} {place} is below {lowest}, the minimum water temperature of the window"
            " “{window}”."
        ),
        (_("Check the reading."), _BREAK_OFF, _LEAVE_IT),
    ),
    "too-windy": Sentence(
        _("Wind force {force} {place} is above {most} ({sign}), the protocol’s wind limit."),
        (_BREAK_OFF, _LEAVE_IT),
    ),
    "wet-sky": Sentence(
        _("The sky {place} is “{sky}”, and the protocol allows no survey in it."),
        (_BREAK_OFF, _LEAVE_IT),
    ),
    "out-in-thunder": Sentence(
        _("There was thunder {place}."),
        (
            _("Do not start, or stop now: get into a hard-topped car or a building."),
            _("Wait 30 minutes after the last thunder."),
        ),
    ),
    "noise-too-loud": Sentence(
        _("The noise at stop {stop} is “{noise}”; the protocol’s limit is “{most}”."),
        (_("If the noise may pass, wait and listen again."), _LEAVE_IT),
    ),
    **{
        f"{code}{variant}": sentence
        for code in (
            "temperature-missing",
            "water-temperature-missing",
            "wind-missing",
            "sky-missing",
            "noise-missing",
        )
        for variant, sentence in (
            ("", _LIMIT_UNKNOWN),
            (".visit", _LIMIT_UNKNOWN_VISIT),
            (".side", _LIMIT_UNKNOWN_SIDE),
        )
    },
    "temperature-implausible": Sentence(
        _(
            "{reading} {place} is not plausible for the {kind}; your program expects {lowest} to"
            " {highest}."
        ),
        (_CHECK_SIGN, _LEAVE_IT),
    ),
    "unknown-wind-force": Sentence(
        _("There is no wind force {force} {place}."),
        (
            _("Choose a force of the Beaufort scale, 0 to {last}."),
            _("It is not a speed."),
        ),
    ),
}

_SPECIES: Sentences = {
    "index-impossible": Sentence(
        _("{species} at stop {stop} has call index {index}, which is not on the scale."),
        (
            _("Choose 0 (not heard), 1, 2 or 3 (full chorus)."),
            _("It is not a count."),
        ),
    ),
    "species-twice-at-stop": Sentence(
        _("{species} is on the sheet more than once at stop {stop}."),
        (_("Keep one of them: the highest call index you heard."),),
    ),
    "calls-at-skipped-stop": Sentence(
        _("Stop {stop} is marked as skipped, but has a call index for {species}."),
        (
            _("If someone listened, mark the stop as surveyed."),
            _("If not, clear the species."),
        ),
    ),
    "index-missing": Sentence(
        _("{species} at stop {stop} is on the sheet but has no call index."),
        (_("Choose 0 if you did not hear it, 1 to 3 if you did, or “heard, not sure”."),),
    ),
    "distance-missing": Sentence(
        _("{species} at stop {stop} is not marked near or far."),
        (
            _("Near: you heard at least one within {radius} of the stop. Far: all were beyond."),
            _("If you cannot tell, leave it; the coordinator decides."),
        ),
    ),
    "distance-not-asked": Sentence(
        _("{species} at stop {stop} is marked near or far, but the protocol has no radius."),
        (_("The call counts at any distance. You can leave the mark."),),
    ),
    "species-off-checklist": Sentence(
        _(
            "{species} at stop {stop} is not on the checklist of this route, so nights without a"
            " record of it do not count as zeros."
        ),
        (
            _("Check the species."),
            _("A recording helps the coordinator to confirm it."),
            _LEAVE_IT,
        ),
    ),
    "species-out-of-season": Sentence(
        _(
            "{species} at stop {stop} on the night of {night} is outside its calling season"
            " here, {season}."
        ),
        (
            _("Check the species and the date."),
            _("Early or late calling does happen; a recording helps."),
            _LEAVE_IT,
        ),
    ),
}

_OWN: Sentences = {
    "own-field-missing": Sentence(
        _("“{field}” is blank at stop {stop}; your program asks for it."),
        (_FILL_IT_IN,),
    ),
    "own-field-missing.visit": Sentence(
        _("“{field}” is blank; your program asks for it."),
        (_FILL_IT_IN,),
    ),
}

RULE_SENTENCES: Sentences = {
    **_NIGHT,
    **_OBSERVER,
    **_STOPS,
    **_TIMES,
    **_HOURS,
    **_WEATHER,
    **_SPECIES,
    **_OWN,
}
