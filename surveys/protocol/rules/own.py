"""Rules on the program's own fields."""

from __future__ import annotations

from collections.abc import Iterator

from surveys.language import gettext_noop as _
from surveys.protocol.own_fields import AskedPer, OwnField
from surveys.protocol.rules.reading import listened
from surveys.protocol.rules.rule import Breach, rule
from surveys.protocol.sentences.sentence import Sentence
from surveys.protocol.values import Case, Severity, Where

_FILL_IT_IN = _("Fill it in if someone noted it; if no one did, leave it blank.")


@rule(
    "own-field-missing",
    Severity.QUERY,
    "Every required field of the program is filled in.",
    Sentence(
        _("“{field}” is blank at stop {stop}; your program asks for it."),
        (_FILL_IT_IN,),
    ),
    variants={
        "visit": Sentence(
            _("“{field}” is blank; your program asks for it."),
            (_FILL_IT_IN,),
        )
    },
    on_phone=True,
)
def own_field_missing(case: Case) -> Iterator[Breach]:
    for field in case.route.own_fields:
        if field.required:
            yield from _missing(case, field)


def _missing(case: Case, field: OwnField) -> Iterator[Breach]:
    if field.per is AskedPer.VISIT:
        if field.key not in case.visit.own_filled:
            where = Where(field=field.cell)
            yield Breach(where=where, variant="visit", params={"field": field.label})
        return
    for period in listened(case):
        if field.key not in period.own_filled:
            yield Breach(
                where=Where(stop=period.stop, field=field.cell),
                params={"field": field.label, "stop": period.stop},
            )
