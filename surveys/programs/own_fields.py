"""A program's own fields. One that has data is never deleted and never changes its meaning: it is
asked until a night."""

import datetime as dt
import re
from dataclasses import dataclass
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Max, Q, QuerySet, TextField
from django.db.models.functions import Cast
from django.shortcuts import get_object_or_404
from django.utils.text import slugify

from accounts.access import Permission, require
from accounts.edit_conflicts import Facts, Seen, check_seen, yes_or_no
from accounts.models import Membership
from surveys.dates import day
from surveys.language import gettext, said
from surveys.models import ListeningPeriod, OwnField, Program, Submission, Visit, VisitState
from surveys.programs.assignments import today_of
from surveys.protocol.own_fields import CELL, FieldKind
from surveys.protocol.weather import plain_number

MOST_CHOICES = 20
_KEY_LENGTH = 36


@dataclass(frozen=True, kw_only=True)
class Definition:
    """What a coordinator says of a field. `choices` are labels: first those of the choices there
    are, in their order, where a blank one takes the choice away, then new ones.

    `published` None leaves it to the kind: everything but texts, which may hold names and places.
    """

    label: str
    kind: str
    per: str
    help: str = ""
    unit: str = ""
    low: Decimal | None = None
    high: Decimal | None = None
    choices: tuple[str, ...] = ()
    required: bool = False
    published: bool | None = None
    asked_from: dt.date | None = None
    asked_until: dt.date | None = None


def own_fields_of(program: Program) -> QuerySet[OwnField]:
    return program.own_fields.order_by("order", "pk")


def own_field_of(program: Program, field_id: int) -> OwnField:
    """Raises Http404."""
    return get_object_or_404(own_fields_of(program), pk=field_id)


def field_facts(field: OwnField) -> Facts:
    """What the form of a field shows of it."""
    return {
        gettext("Name"): field.label,
        gettext("Help"): field.help,
        gettext("Kind"): str(field.get_kind_display()),
        gettext("Asked"): str(field.get_per_display()),
        gettext("Unit"): field.unit,
        gettext("Lowest"): _number(field.low),
        gettext("Highest"): _number(field.high),
        gettext("Choices"): ", ".join(label for _, label in field.choices),
        gettext("Required"): yes_or_no(field.required_from is not None),
        gettext("Published"): yes_or_no(field.published),
        gettext("Asked from"): day(field.asked_from) if field.asked_from else "",
        gettext("Asked until"): day(field.asked_until) if field.asked_until else "",
    }


def has_data(field: OwnField) -> bool:
    """Whether a sheet of the program, or a version of one, has a value of the field."""
    visits = Visit.objects.filter(route__program=field.program_id)
    periods = ListeningPeriod.objects.filter(visit__route__program=field.program_id)
    submissions = Submission.objects.filter(visit__route__program=field.program_id)
    if any(rows.filter(own_fields__has_key=field.key).exists() for rows in (visits, periods)):
        return True
    open_visits = visits.filter(state__in=[VisitState.DRAFT, VisitState.SENT_BACK])
    of_visit, at_stops = f'"{CELL}{field.key}"', f'.{CELL}{field.key}"'
    return any(
        rows.annotate(typed=Cast("cells", TextField()))
        .filter(Q(typed__contains=of_visit) | Q(typed__contains=at_stops))
        .exists()
        for rows in (open_visits, submissions)
    )


@transaction.atomic
def add_field(member: Membership, definition: Definition) -> OwnField:
    """Ask for a field, last on the sheet. Raises ValidationError by field."""
    require(member, Permission.MANAGE)
    program = Program.objects.select_for_update().get(pk=member.program_id)
    last = program.own_fields.aggregate(last=Max("order"))["last"] or 0
    field = OwnField(program=program, key=_new_key(program, definition.label), order=last + 1)
    _check(field, definition)
    return _write(field, definition, today_of(program))


@transaction.atomic
def change_field(
    member: Membership, field_id: int, definition: Definition, *, seen: Seen | None = None
) -> OwnField:
    """Raises ValidationError by field, EditConflict."""
    require(member, Permission.MANAGE)
    field = _locked(member, field_id)
    check_seen(member, seen, field_facts(field), [field.events.all()])
    _check(field, definition)
    if has_data(field):
        _check_meaning_stays(field, definition)
    return _write(field, definition, today_of(member.program))


@transaction.atomic
def delete_field(member: Membership, field_id: int) -> OwnField:
    """Take away a field that no sheet has a value of. Raises ValidationError."""
    require(member, Permission.MANAGE)
    field = _locked(member, field_id)
    if has_data(field):
        raise ValidationError(
            said(
                "{field} has data, so it cannot be deleted. Give the last night on which it is "
                "asked instead.",
                field=field,
            )
        )
    field.delete()
    return field


@transaction.atomic
def move_field(member: Membership, field_id: int, *, up: bool) -> OwnField:
    """Swap a field with its neighbor; at the end of the list nothing happens."""
    require(member, Permission.MANAGE)
    rows = list(own_fields_of(member.program).select_for_update())
    field = own_field_of(member.program, field_id)
    place = rows.index(field)
    other = place - 1 if up else place + 1
    if 0 <= other < len(rows):
        rows[place], rows[other] = rows[other], rows[place]
    for order, row in enumerate(rows, start=1):
        row.order = order
    OwnField.objects.bulk_update(rows, ["order"])
    return field


def _locked(member: Membership, field_id: int) -> OwnField:
    return get_object_or_404(
        OwnField.objects.select_for_update(of=("self",)), program=member.program, pk=field_id
    )


def _number(number: Decimal | None) -> str:
    return "" if number is None else plain_number(number)


def _new_key(program: Program, label: str) -> str:
    """A key from the label, which no field of the program has yet."""
    return _key(label, set(program.own_fields.values_list("key", flat=True)), "field")


def _key(label: str, taken: set[str], stem: str) -> str:
    words = slugify(label).replace("-", "_").strip("_")[:_KEY_LENGTH]
    base = words if re.match("[a-z]", words) else f"{stem}_{words}".strip("_")[:_KEY_LENGTH]
    key, number = base, 1
    while key in taken:
        number += 1
        key = f"{base}_{number}"
    return key


def _check(field: OwnField, definition: Definition) -> None:
    others = field.program.own_fields.exclude(pk=field.pk)
    if others.filter(label__iexact=definition.label).exists():
        _refuse("label", gettext("Another field has this name. Choose another one."))
    if FieldKind(definition.kind) is FieldKind.CHOICE:
        _check_choices(definition)
    low, high = definition.low, definition.high
    if low is not None and high is not None and high < low:
        _refuse("high", gettext("The highest value is below the lowest. Swap the two numbers."))
    first, last = definition.asked_from, definition.asked_until
    if first and last and last < first:
        _refuse("asked_until", gettext("The last night is before the first."))


def _check_choices(definition: Definition) -> None:
    labels = [label.casefold() for label in definition.choices if label]
    if len(labels) < 2:
        _refuse("choice_0", gettext("Give at least two choices."))
    if len(labels) > len(set(labels)):
        _refuse("choice_0", gettext("Two choices have the same name. Change one of them."))
    if any(";" in label for label in labels):
        _refuse("choice_0", gettext("A choice cannot have a semicolon. Write a comma instead."))


def _check_meaning_stays(field: OwnField, definition: Definition) -> None:
    """What is stored must mean tomorrow what it meant when it was written down."""
    for name, message in (
        ("kind", gettext("This field has data, so its kind stays. Add a new field instead.")),
        ("per", gettext("This field has data, so where it is asked stays. Add a new field.")),
        ("unit", gettext("This field has data, so its unit stays. Add a new field instead.")),
    ):
        if getattr(field, name) != getattr(definition, name):
            _refuse(name, message)
    wider = gettext("This field has data, so its range can only become wider.")
    if definition.low is not None and (field.low is None or definition.low > field.low):
        _refuse("low", wider)
    if definition.high is not None and (field.high is None or definition.high < field.high):
        _refuse("high", wider)
    for place in range(len(field.choices)):
        if not definition.choices[place : place + 1] or not definition.choices[place]:
            _refuse(
                f"choice_{place}",
                gettext("This field has data, so its choices stay. You can rename them."),
            )


def _refuse(name: str, message: str) -> None:
    raise ValidationError({name: message})


def _write(field: OwnField, definition: Definition, today: dt.date) -> OwnField:
    kind = FieldKind(definition.kind)
    field.label, field.help = definition.label, definition.help
    field.kind, field.per = kind.value, definition.per
    field.unit = definition.unit if kind.is_number else ""
    field.low, field.high = (definition.low, definition.high) if kind.is_number else (None, None)
    field.choices = _choices(field, definition) if kind is FieldKind.CHOICE else []
    field.required_from = _required_from(field, definition, today)
    by_kind = kind is not FieldKind.TEXT
    field.published = by_kind if definition.published is None else definition.published
    field.asked_from, field.asked_until = definition.asked_from, definition.asked_until
    field.full_clean()
    field.save()
    return field


def _choices(field: OwnField, definition: Definition) -> list[list[str]]:
    """Choices that there are keep their keys, whatever they are called now."""
    there = list(field.choices)
    taken = {key for key, _ in there}
    choices = []
    for place, label in enumerate(definition.choices):
        key = there[place][0] if place < len(there) else _key(label, taken, "choice")
        taken.add(key)
        if label:
            choices.append([key, label])
    return choices


def _required_from(field: OwnField, definition: Definition, today: dt.date) -> dt.date | None:
    """Nights before today keep the sheet they had: a value that nobody was asked for then is not
    missing. So it is for a field that is asked again after it had ended."""
    if not definition.required:
        return None
    resumed = field.asked_until and definition.asked_until != field.asked_until
    if field.required_from and not resumed:
        return field.required_from
    return max(today, definition.asked_from or today)
