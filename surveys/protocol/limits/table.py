"""The limits of a protocol, each declared once, in the order in which they are shown.

The type of a limit and its default stand in `values.Protocol`; a row here holds everything else.
Columns, form, histories, API, guide and "what the protocol asks" are made from the rows.
"""

from __future__ import annotations

from surveys.language import gettext_noop as _
from surveys.protocol.limits import phrases
from surveys.protocol.limits.limit import Group, Kind, Limit
from surveys.protocol.values import Interruption, WithoutTest
from surveys.protocol.weather import BEAUFORT, NOISE, SKY

_DAY_S = 24 * 60 * 60
_SKIES = {state.value: words for state, words in SKY.items()}
_NOISES = {effect.value: words for effect, words in NOISE.items()}
_CODES_HELP = _(
    "Only if your paper sheets use numbers or letters. Observers see them beside the words, and"
    " sheets and spreadsheets with them can be read."
)

LIMITS: tuple[Limit, ...] = (
    Limit(
        name="earliest_start_after_sunset",
        kind=Kind.AFTER_SUNSET,
        group=Group.EVENING,
        label=_("Earliest start"),
        help=_("Minutes after sunset; negative for before sunset."),
        lowest=-600,
        highest=600,
        heading=_("Earliest start"),
        words=phrases.earliest_start,
        changes_hearing=True,
    ),
    Limit(
        name="latest_end_clock",
        kind=Kind.CLOCK,
        group=Group.EVENING,
        label=_("Latest end, by the clock"),
        help=_("May be after midnight."),
        heading=_("Latest end"),
        words=phrases.latest_end,
        changes_hearing=True,
    ),
    Limit(
        name="latest_end_after_sunset",
        kind=Kind.AFTER_SUNSET,
        group=Group.EVENING,
        label=_("Latest end, after sunset"),
        help=_("Minutes. Give this or the clock time, not both."),
        lowest=0,
        highest=1000,
    ),
    Limit(
        name="settling_wait",
        kind=Kind.LENGTH,
        group=Group.LISTENING,
        label=_("Quiet wait"),
        help=_("Minutes of quiet between arriving and listening."),
        lowest=0,
        highest=_DAY_S,
        heading=_("Quiet wait"),
        words=phrases.settling_wait,
        changes_hearing=True,
    ),
    Limit(
        name="listening_time",
        kind=Kind.LENGTH,
        group=Group.LISTENING,
        label=_("Listening time"),
        help=_("Minutes at each stop."),
        lowest=1,
        highest=_DAY_S,
        heading=_("Listening time"),
        words=phrases.listening_time,
        changes_hearing=True,
    ),
    Limit(
        name="longest_listening_time",
        kind=Kind.LENGTH,
        group=Group.LISTENING,
        label=_("Maximum listening time"),
        help=_("Minutes. The longest that observers listen if there is noise."),
        lowest=1,
        highest=_DAY_S,
    ),
    Limit(
        name="interruption",
        kind=Kind.CHOICE,
        group=Group.LISTENING,
        label=_("When a loud event interrupts"),
        choices={
            Interruption.PAUSE.value: _("Stop the clock, then keep listening"),
            Interruption.RESTART.value: _("Start over"),
            Interruption.EXTEND.value: _("Listen longer"),
        },
        heading=_("When a loud event interrupts"),
        words=phrases.interruption,
        changes_hearing=True,
    ),
    Limit(
        name="listening_radius_m",
        kind=Kind.SHORT_DISTANCE,
        group=Group.LISTENING,
        label=_("Listening radius"),
        help=_(
            "In {short}. Leave empty to count calls at any distance. Calls within the radius are"
            " near, calls beyond it far. Far calls are kept, but are not detections in trends."
        ),
        lowest=1,
        highest=5000,
        heading=_("Listening radius"),
        words=phrases.listening_radius,
        changes_hearing=True,
    ),
    Limit(
        name="max_beaufort",
        kind=Kind.FORCE,
        group=Group.WEATHER,
        label=_("Maximum wind"),
        choices={row.force: row for row in BEAUFORT},
        heading=_("Wind"),
        words=phrases.wind,
    ),
    Limit(
        name="forbidden_skies",
        kind=Kind.CHOICES,
        group=Group.WEATHER,
        label=_("No survey in"),
        choices=_SKIES,
        heading=_("Sky"),
        words=phrases.sky,
    ),
    Limit(
        name="loudest_noise",
        kind=Kind.CHOICE,
        group=Group.WEATHER,
        label=_("Maximum noise"),
        choices=_NOISES,
        heading=_("Noise"),
        words=phrases.noise,
    ),
    Limit(
        name="plausible_temperature_c",
        kind=Kind.TEMPERATURES,
        group=Group.WEATHER,
        label=_("Plausible temperatures"),
        help=_("From and to, in {degrees}. A reading outside is flagged."),
        lowest=-100,
        highest=100,
        heading=_("Plausible temperatures"),
        words=phrases.plausible_temperatures,
        for_coordinators=True,
    ),
    Limit(
        name="min_stops",
        kind=Kind.COUNT,
        group=Group.STOPS,
        label=_("Minimum stops per visit"),
        lowest=1,
        highest=999,
        heading=_("Stops"),
        words=phrases.stops,
    ),
    Limit(
        name="stops_in_order",
        kind=Kind.YES_NO,
        group=Group.STOPS,
        label=_("Survey the stops in the order of their numbers"),
    ),
    Limit(
        name="min_stop_spacing_m",
        kind=Kind.LONG_DISTANCE,
        group=Group.STOPS,
        label=_("Minimum distance between stops, in {long}"),
        lowest=0,
        highest=1_000_000,
        heading=_("Between stops"),
        words=phrases.between_stops,
    ),
    Limit(
        name="min_days_between_visits",
        kind=Kind.COUNT,
        group=Group.STOPS,
        label=_("Days between visits"),
        help=_("Minimum days between two visits to a route."),
        lowest=0,
        highest=366,
        heading=_("Between visits"),
        words=phrases.between_visits,
    ),
    Limit(
        name="training_needed",
        kind=Kind.YES_NO,
        group=Group.STOPS,
        label=_("Observers must pass a call-identification test"),
        heading=_("Call-identification test"),
        words=phrases.training,
    ),
    Limit(
        name="without_test",
        kind=Kind.CHOICE,
        group=Group.STOPS,
        label=_("Without a valid test on record, a visit gets"),
        help=_("Only where a test is asked for. A question is for you to resolve."),
        choices={
            WithoutTest.QUESTION.value: _("A question"),
            WithoutTest.NOTE.value: _("A note"),
        },
        heading=_("Without a valid test"),
        words=phrases.without_test,
        for_coordinators=True,
    ),
    Limit(
        name="max_distance_from_stop_m",
        kind=Kind.SHORT_DISTANCE,
        group=Group.STOPS,
        label=_("Maximum distance from the stop"),
        help=_("In {short}. How far a phone may be from the stop."),
        lowest=0,
        highest=1_000_000,
        heading=_("Distance from the stop"),
        words=phrases.from_the_stop,
        for_coordinators=True,
    ),
    Limit(
        name="max_drive_kmh",
        kind=Kind.SPEED,
        group=Group.STOPS,
        label=_("Maximum speed between stops"),
        help=_("In {long} per hour. Faster drives are flagged."),
        lowest=1,
        highest=1000,
        heading=_("Speed between stops"),
        words=phrases.drive,
        for_coordinators=True,
    ),
    Limit(
        name="sky_codes",
        kind=Kind.CODE_TABLE,
        group=Group.CODES,
        label=_("Codes for the sky"),
        help=_CODES_HELP,
        choices=_SKIES,
        heading=_("Codes for the sky"),
        words=phrases.sky_codes,
        for_coordinators=True,
    ),
    Limit(
        name="noise_codes",
        kind=Kind.CODE_TABLE,
        group=Group.CODES,
        label=_("Codes for noise"),
        help=_CODES_HELP,
        choices=_NOISES,
        heading=_("Codes for noise"),
        words=phrases.noise_codes,
        for_coordinators=True,
    ),
)
LIMITS_BY_NAME = {limit.name: limit for limit in LIMITS}
