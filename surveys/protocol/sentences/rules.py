"""What the rules say. The phone has the same sentences from `deploy/generate`."""

from __future__ import annotations

from surveys.language import gettext_noop as _
from surveys.language import ngettext_lazy
from surveys.protocol.sentences.sentence import Sentence, Sentences

_LEAVE_IT = _("If it is right, leave it: the coordinator decides whether it counts.")
_BREAK_OFF = _("If you are still out, break off and come back on another night.")
_CHECK_TIME = _("Check the time.")
_CHECK_DATE = _("Check the date.")
_DATE_OF_EVENING = _("Check the date: a night has the date of its evening.")
_CORRECT_TIME = _("Correct one of the two times, or clear it if nobody remembers.")
_WRITE_DOWN = _("Write it down if somebody noted it. Otherwise the coordinator decides.")
_CHECK_SIGN = _("Check the number, its sign and its unit (°C or °F).")

_NIGHT: Sentences = {
    "future-night": Sentence(
        _("The night of {night} has not come yet."),
        (_DATE_OF_EVENING,),
    ),
    "outside-window": Sentence(
        _("The night of {night} is in no season window. The windows are {windows}."),
        (_DATE_OF_EVENING, _LEAVE_IT),
    ),
    "same-night-twice": Sentence(
        _("This route already has a visit on the night of {night}."),
        (
            _("Check the route and the date."),
            _(
                "If two people surveyed the route that night, leave it:"
                " the coordinator decides which visit counts."
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
            _("Nothing needs mending if the extra visit was meant."),
            _("Otherwise check the date."),
        ),
    ),
}

_OBSERVER: Sentences = {
    "observer-not-qualified": Sentence(
        _(
            "The protocol asks for a passed listening test, and none is on record for"
            " the observer of this visit."
        ),
        (
            _("If you passed it, tell the coordinator the date."),
            _("The coordinator decides whether the visit counts."),
        ),
    ),
    "training-unknown": Sentence(
        _(
            "The protocol asks for a passed listening test, but no record of tests is"
            " kept, so it cannot be told whether the observer passed one."
        ),
        (_("Nothing needs mending in this visit."),),
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
        _("Stop {stop} is written down {times} in this visit."),
        (_("Keep one of them, or correct the number of the stop."),),
    ),
    "too-few-stops": Sentence(
        ngettext_lazy(
            "{listened} stop was listened to; the protocol asks for at least {wanted}.",
            "{listened} stops were listened to; the protocol asks for at least {wanted}.",
            "listened",
        ),
        (_("If more stops were listened to, write them down."), _LEAVE_IT),
    ),
    "stop-left-blank": Sentence(
        _(
            "Nothing is written down for {stops}."
            " A blank stop counts as not surveyed, not as silent."
        ),
        (_("If nobody listened there, mark it as skipped and say why."),),
    ),
    "stops-out-of-order": Sentence(
        _(
            "By their times the stops were surveyed in the order {order};"
            " the protocol asks for the order of their numbers."
        ),
        (_("Check the times and the numbers of the stops."), _LEAVE_IT),
    ),
    "far-from-stop": Sentence(
        _("The position was measured {distance} from stop {stop}; the protocol allows {most}."),
        (
            _("Check that this is the right stop."),
            _("If the stop cannot be used any more, tell the coordinator."),
            _LEAVE_IT,
        ),
    ),
    "far-from-stop.accuracy": Sentence(
        _(
            "The position was measured {distance} (give or take {accuracy}) from stop {stop};"
            " the protocol allows {most}."
        ),
        (
            _("Check that this is the right stop."),
            _("If the stop cannot be used any more, tell the coordinator."),
            _LEAVE_IT,
        ),
    ),
    "stops-too-close": Sentence(
        _(
            "Stops {nearest} and {stop} are {distance} apart; the protocol asks for {wanted},"
            " so that the same callers are not counted twice."
        ),
        (
            _("Nothing to mend in this visit."),
            _("The coordinator may move a stop of the route."),
        ),
    ),
}

_TIMES: Sentences = {
    "time-on-another-night": Sentence(
        _(
            "{time} at stop {stop} belongs to the night of {night}, but the visit is of the"
            " night of {visit_night}."
        ),
        (
            _("Correct the time or the date."),
            _("A night lasts from noon to noon and has the date of its evening."),
        ),
    ),
    "future-time": Sentence(
        _("{time} at stop {stop} has not come yet."),
        (_("Check the date of the night, the time, and the clock of the phone."),),
    ),
    "start-before-arrival": Sentence(
        _("The listening at stop {stop} starts at {start}, before the arrival at {arrival}."),
        (_CORRECT_TIME,),
    ),
    "finish-before-start": Sentence(
        _("The listening at stop {stop} ends at {end}, which is not after its start at {start}."),
        (_CORRECT_TIME,),
    ),
    "pause-longer-than-listening": Sentence(
        _("The pause at stop {stop} of {pause} is longer than the time from start to end."),
        (_("Correct the pause or the start and end of the listening."),),
    ),
    "pause-longer-than-listening.below-zero": Sentence(
        _("The pause at stop {stop} is below zero."),
        (_("Correct the pause or the start and end of the listening."),),
    ),
    "stops-overlap": Sentence(
        _("Stop {stop} begins at {start}, while the listening at stop {busy} goes on until {end}."),
        (
            _(
                "Nobody can be at two stops at once: correct a time,"
                " or clear it if nobody remembers."
            ),
        ),
    ),
    "impossible-drive": Sentence(
        _(
            "From stop {from} to stop {to} it is {distance} in a straight line, and only"
            " {between} lie between: faster than {fastest}."
        ),
        (_("Check the times and the numbers of the two stops."), _LEAVE_IT),
    ),
    "times-missing": Sentence(
        _(
            "Stop {stop} has no time for the {missing}, so it cannot be told whether the times"
            " meet the protocol."
        ),
        (_("Write the time down, or mark the stop as skipped if nobody listened."),),
    ),
    "wait-too-short": Sentence(
        _("The wait before listening at stop {stop} was {waited}; the protocol asks for {wanted}."),
        (_("If you are still at the stop, wait quietly and listen again."), _LEAVE_IT),
    ),
    "listening-too-short": Sentence(
        _("The listening at stop {stop} took {length}; the protocol asks for {wanted}."),
        (_("If you are still at the stop, listen again for the full time."), _LEAVE_IT),
    ),
    "listening-too-short.pause": Sentence(
        _(
            "The listening at stop {stop} took {length}, the pause of {pause} taken off;"
            " the protocol asks for {wanted}."
        ),
        (_("If you are still at the stop, listen again for the full time."), _LEAVE_IT),
    ),
    "listening-too-long": Sentence(
        _(
            "The listening at stop {stop} took {length};"
            " the protocol asks for no more than {longest}."
        ),
        (_("Check the times."), _("If there was a pause, write how long it was.")),
    ),
    "pause-not-restarted": Sentence(
        _(
            "The listening at stop {stop} was paused for {pause};"
            " after a loud event the protocol begins the listening again."
        ),
        (
            _("If you did begin again, write the times of the unbroken listening and no pause."),
            _LEAVE_IT,
        ),
    ),
}

_HOURS: Sentences = {
    "before-dusk": Sentence(
        _(
            "The listening at stop {stop} starts at {start}; the earliest start is {earliest}"
            " ({limit})."
        ),
        (_CHECK_TIME, _("If you are at the stop, wait and begin again."), _LEAVE_IT),
    ),
    "after-last-hour": Sentence(
        _("The listening at stop {stop} ends at {end}; the latest end is {latest}."),
        (_CHECK_TIME, _LEAVE_IT),
    ),
    "sun-does-not-set": Sentence(
        _(
            "The sun does not set or does not rise here on this night ({stops}), so it cannot"
            " be told whether the hours meet the protocol."
        ),
        (_("Nothing needs mending."), _("The coordinator judges the hours.")),
    ),
    "sunset-unknown": Sentence(
        _(
            "The sunset at {stops} is not known, so it cannot be told whether the hours meet"
            " the protocol."
        ),
        (_("Nothing needs mending."), _("It is worked out when the visit reaches the server.")),
    ),
}

_LIMIT_UNKNOWN = Sentence(
    _("Stop {stop} has no {reading}, so it cannot be told whether the limit was met."),
    (_WRITE_DOWN,),
)
_LIMIT_UNKNOWN_VISIT = Sentence(
    _("The visit has no {reading}, so it cannot be told whether the limit was met."),
    (_WRITE_DOWN,),
)
_LIMIT_UNKNOWN_SIDE = Sentence(
    _(
        "The {side} of the visit has no {reading}, nor have the stops, so it cannot be told"
        " whether the limit was met."
    ),
    (_WRITE_DOWN,),
)

_WEATHER: Sentences = {
    "too-cold": Sentence(
        _(
            "{reading} {place} is below {lowest}, the lowest air temperature of the window"
            " “{window}”."
        ),
        (_("Check the reading."), _BREAK_OFF, _LEAVE_IT),
    ),
    "water-too-cold": Sentence(
        _(
            "{reading} {place} is below {lowest}, the lowest water temperature of the window"
            " “{window}”."
        ),
        (_("Check the reading."), _BREAK_OFF, _LEAVE_IT),
    ),
    "too-windy": Sentence(
        _(
            "Wind force {force} {place} is above {most} ({sign}), the strongest wind in which"
            " the protocol is run."
        ),
        (_BREAK_OFF, _LEAVE_IT),
    ),
    "wet-sky": Sentence(
        _("With sky code {code} ({sky}) {place} the protocol is not run."),
        (_BREAK_OFF, _LEAVE_IT),
    ),
    "wet-sky.no-words": Sentence(
        _("With sky code {code} {place} the protocol is not run."),
        (_BREAK_OFF, _LEAVE_IT),
    ),
    "noise-too-loud": Sentence(
        _("Noise index {noise} at stop {stop} is above {most}, the most that the protocol allows."),
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
            "{reading} {place} is hard to believe for the {kind};"
            " expected is {lowest} to {highest}."
        ),
        (_CHECK_SIGN, _LEAVE_IT),
    ),
    "unknown-sky-code": Sentence(
        _("There is no sky code {code} {place}."),
        (_("Choose {known}."),),
    ),
    "unknown-wind-force": Sentence(
        _("There is no wind force {force} {place}."),
        (
            _("Choose a force of the Beaufort scale, 0 to {last}."),
            _("It is not a speed."),
        ),
    ),
    "unknown-noise-index": Sentence(
        _("There is no noise index {noise} (stop {stop})."),
        (_("Choose {known}."),),
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
        _("{species} is written down more than once at stop {stop}."),
        (_("Keep one of them: the highest call index that was heard."),),
    ),
    "calls-at-skipped-stop": Sentence(
        _("Stop {stop} is marked as skipped, but {species} is written down there."),
        (
            _("If somebody listened, mark the stop as listened."),
            _("If not, clear the species."),
        ),
    ),
    "index-missing": Sentence(
        _("{species} at stop {stop} was opened, but has no call index."),
        (_("Choose 0 if it was not heard, 1 to 3 if it was, or “heard, not sure”."),),
    ),
    "species-off-checklist": Sentence(
        _(
            "{species} at stop {stop} is not on the checklist of this route, so other nights"
            " cannot be taken to have no record of it."
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
            _("Early and late callers do occur; a recording helps."),
            _LEAVE_IT,
        ),
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
}
