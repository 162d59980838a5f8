"""What is said of cells of a sheet that cannot be read, by code and variant.

A finding names its cell in the parameter `cell`; the name then stands before the message.
"""

from __future__ import annotations

from surveys.language import gettext_noop as _
from surveys.language import ngettext_lazy
from surveys.protocol.sentences.sentence import Sentence, Sentences

_CHECK_NUMBER = _("Check the number, or clear the cell if no one knows.")
_CLOCK_FORM = _("Write it as 9:14 pm or 21:14.")
_INSTANT_FORM = _(
    "Write a clock time such as 21:14, or a date with a time such as 2024-04-16T02:14:00Z."
)
_DATE_FORM = _("Write it as 2024-04-15 or April 15, 2024.")
_CHOICE = (_("Choose {choices}."),)
_CHECK_DATE = _("Check the date.")

_UNREADABLE: Sentences = {
    "cell-unreadable.number": Sentence(
        _("“{typed}” is not a number."), (_("Write digits, such as 12 or 12.5."),)
    ),
    "cell-unreadable.integer": Sentence(
        _("“{typed}” is not a whole number."), (_("Write a whole number, such as 3."),)
    ),
    "cell-unreadable.temperature-unit": Sentence(
        _("“{typed}” is not a unit of temperature."), (_("Choose C or F."),)
    ),
    "cell-unreadable.rain-unit": Sentence(
        _("“{typed}” is not a unit of rain."), (_("Choose in or mm."),)
    ),
    "cell-unreadable.yes-no": Sentence(
        _("“{typed}” is neither yes nor no."), (_("Choose yes or no."),)
    ),
    "cell-unreadable.choice": Sentence(_("“{typed}” is not one of the answers."), _CHOICE),
    "cell-unreadable.person": Sentence(
        _("“{typed}” cannot be the second observer here."),
        (_("Choose another member of the program, or write the name of a guest."),),
    ),
    "cell-unreadable.date": Sentence(_("“{typed}” is not a date."), (_DATE_FORM,)),
    "cell-unreadable.date-order": Sentence(
        _("“{typed}” can be read in two ways."),
        (_("Name the month, as in April 15, 2024, or put the year first: 2024-04-15."),),
    ),
    "cell-unreadable.calendar": Sentence(_("There is no such day as “{typed}”."), (_DATE_FORM,)),
    "cell-unreadable.clock": Sentence(_("“{typed}” is not a clock time."), (_CLOCK_FORM,)),
    "cell-unreadable.clock-hour": Sentence(_("“{typed}” has an hour above 23."), (_CLOCK_FORM,)),
    "cell-unreadable.clock-minute": Sentence(
        _("“{typed}” has more than 59 minutes or seconds."),
        (_("Check the digits."), _CLOCK_FORM),
    ),
    "cell-unreadable.clock-half": Sentence(
        _("“{typed}” has am or pm, so the hour must be 1 to 12."), (_CLOCK_FORM,)
    ),
    "cell-unreadable.instant": Sentence(
        _("“{typed}” is not a date with a time."), (_INSTANT_FORM,)
    ),
    "cell-unreadable.time-zone": Sentence(
        _("“{typed}” does not say its time zone."), (_INSTANT_FORM,)
    ),
    "cell-unreadable.index": Sentence(
        _("“{typed}” for {species} at stop {stop} is not a call index."),
        (
            _("Write 0, 1, 2 or 3, the highest you heard, or ? for “heard, not sure”."),
            _("If your protocol has a listening radius, add near or far: 2 near."),
        ),
    ),
}

_OUT_OF_RANGE: Sentences = {
    "cell-out-of-range": Sentence(
        _("“{typed}” is not between {low} and {high}."), (_CHECK_NUMBER,)
    ),
    "cell-out-of-range.only-low": Sentence(_("“{typed}” is below {low}."), (_CHECK_NUMBER,)),
    "cell-out-of-range.only-high": Sentence(_("“{typed}” is above {high}."), (_CHECK_NUMBER,)),
    "cell-out-of-range.temperature": Sentence(
        _("{reading} is not a possible temperature."),
        (_("Check the number, its sign and its unit (°C or °F)."),),
    ),
    "cell-out-of-range.rain": Sentence(
        _("“{typed}” is not between 0 and {most} {unit}."),
        (_("Check the number and its unit (in or mm), or clear the cell if no one knows."),),
    ),
    "cell-out-of-range.date": Sentence(_("“{typed}” is not between 1900 and 2199."), (_DATE_FORM,)),
    "cell-out-of-range.instant": Sentence(
        _("“{typed}” is not between 1900 and 2199."), (_INSTANT_FORM,)
    ),
    "cell-too-long": Sentence(
        ngettext_lazy(
            "The text has {length} character; the limit is {most}.",
            "The text has {length} characters; the limit is {most}.",
            "length",
        ),
        (_("Shorten it, or move part of it to the notes."),),
    ),
}

_CLOCKS: Sentences = {
    "clock-repeated": Sentence(
        _("The clocks went back that night, so {time} came twice."),
        (_("Choose the first or the second time; clear the time if no one remembers."),),
    ),
    "clock-skipped": Sentence(
        _("The clocks went forward that night, so no clock showed {time}."),
        (
            _(
                "Write {later} if your watch was not changed yet, or {earlier} if you changed it"
                " too early."
            ),
        ),
    ),
    "clock-by-day": Sentence(
        _("“{typed}” is in the middle of the day."),
        (_("If it was at night, write {other}."),),
    ),
}

_STOPS: Sentences = {
    "status-unclear": Sentence(
        _("Stop {stop} has entries, but is not marked as surveyed or skipped."),
        (_("Mark the stop as surveyed or skipped."),),
    ),
    "skipped-with-times": Sentence(
        _("Stop {stop} is marked as skipped, but has listening times."),
        (
            _("If someone listened, mark the stop as surveyed."),
            _("If not, clear the times."),
        ),
    ),
    "skip-reason-missing": Sentence(
        _("Stop {stop} was skipped without a reason."),
        (_("Say why, so that others know whether they can use the stop."),),
    ),
    "position-incomplete": Sentence(
        _("The position measured at stop {stop} has only one of its two numbers."),
        (_("Write both latitude and longitude, or clear both."),),
    ),
    "species-unknown": Sentence(
        _("“{typed}” is not a species in the catalog."),
        (_("Choose a species from the list, or write its full scientific name."),),
    ),
    "species-unknown.stop": Sentence(
        _("“{typed}” at stop {stop} is not a species in the catalog."),
        (_("Choose a species from the checklist, or clear the cell."),),
    ),
}

_SIGHTINGS: Sentences = {
    "sighting-incomplete": Sentence(
        _("Row {row} of the sightings has no species."),
        (_("Choose the species, or clear the row and its photo."),),
    ),
    "sighting-incomplete.life-stage": Sentence(
        _("Row {row} of the sightings has no life stage."),
        (_("Choose the life stage, or clear the row and its photo."),),
    ),
    "sighting-stop-unknown": Sentence(
        _("Row {row} of the sightings names stop {stop}, which the route does not have."),
        (_("Correct the number, or leave it blank for a sighting between stops."),),
    ),
}

_SHEET: Sentences = {
    "cell-unknown": Sentence(
        _("The sheet has no place for {cells}. What you typed is kept, but not used."),
        (_("Nothing to fix, unless you meant it for another cell."),),
    ),
    "cell-unknown.more": Sentence(
        ngettext_lazy(
            "The sheet has no place for {cells} and {more} more cell."
            " What you typed is kept, but not used.",
            "The sheet has no place for {cells} and {more} more cells."
            " What you typed is kept, but not used.",
            "more",
        ),
        (_("Nothing to fix, unless you meant it for another cell."),),
    ),
    "night-missing": Sentence(
        _("The date of the night is missing. It was {night}."),
        (_("Write the date of the evening, such as 2024-04-15."),),
    ),
    "night-without-protocol": Sentence(
        _("No version of the route's protocol was in effect on the night of {night}."),
        (
            _CHECK_DATE,
            _("If it is right, a coordinator can enter the protocol as it was then."),
        ),
    ),
}

CELL_SENTENCES: Sentences = {
    **_UNREADABLE,
    **_OUT_OF_RANGE,
    **_CLOCKS,
    **_STOPS,
    **_SIGHTINGS,
    **_SHEET,
}
