"""Published tables of recordings that people heard without the sheet."""

from __future__ import annotations

from surveys.publishing.cells import SEASON_YEAR, Table, number, whole

HINT_ERRORS = Table(
    name="hint_errors",
    title="Hints on recordings",
    meaning="How often the hint on the species of a recorded sound was wrong, by recordings that "
    "two people heard without the sheet. Hints are those of the reference calls of the day of "
    "publication; no number of this publication rests on one.",
    columns=(
        SEASON_YEAR,
        whole("recordings", "Recordings that two people heard.", required=True, minimum=1),
        whole("hinted", "Those with a hint that can be judged.", required=True, minimum=0),
        whole("wrong", "Those whose hint names none of what was heard.", required=True, minimum=0),
        number(
            "wrong_low",
            "Lower end of the 95% credible interval of the share of wrong hints.",
            "share",
            minimum=0.0,
            maximum=1.0,
        ),
        number("wrong_high", "Upper end.", "share", minimum=0.0, maximum=1.0),
    ),
    key=("season_year",),
)
