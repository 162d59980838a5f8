"""Columns and constraints of the limits of a protocol, from their table."""

from functools import partial

from django.contrib.postgres.fields import ArrayField
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models.lookups import Exact

from surveys.models.fields import in_range
from surveys.protocol.limits.limit import Kind, Limit
from surveys.protocol.limits.table import LIMITS, LIMITS_BY_NAME


def limit_field(name: str, **more: object) -> models.Field:
    """The column of a limit. One that may be unset is null: there is no such limit. `more` are
    options of the field: a column that is added later needs a `db_default`."""
    limit = LIMITS_BY_NAME[name]
    options = {"null": True, "blank": True} if limit.may_be_unset else {}
    options |= more
    default = limit.to_column(limit.default)
    if isinstance(default, dict):
        options |= {"default": dict, "blank": True}
    elif isinstance(default, list):
        options |= {"default": partial(list, tuple(default)), "blank": not default}
    elif default is not None:
        options["default"] = default
    return _COLUMNS[limit.kind](limit, **options)


def _stands_for_one_of(column: str, choices: list[str]) -> models.Q:
    """Every code of a table stands for one of the choices."""
    known = " || ".join(f'@ == "{choice}"' for choice in choices)
    strange = models.Func(
        models.F(column),
        template=f"jsonb_path_exists(%(expressions)s, '$.* ? (!({known}))')",
        output_field=models.BooleanField(),
    )
    return models.Q(Exact(strange, False))


def limit_constraints(table: str) -> list[models.CheckConstraint]:
    """The ranges of the limits, and the codes they are chosen from, held by the database."""
    conditions = {limit.name: _condition(limit) for limit in LIMITS}
    return [
        models.CheckConstraint(condition=condition, name=f"{table}_{name}")
        for name, condition in conditions.items()
        if condition
    ]


def _condition(limit: Limit) -> models.Q:
    column, choices = limit.column, list(limit.choices)
    match limit.kind:
        case Kind.CHOICES:
            return models.Q(**{f"{column}__contained_by": choices})
        case Kind.CODE_TABLE:
            return _stands_for_one_of(column, choices)
        case Kind.TEMPERATURES:
            return models.Q(
                **{
                    f"{column}__len": 2,
                    f"{column}__0__gte": limit.lowest,
                    f"{column}__0__lt": models.F(f"{column}__1"),
                    f"{column}__1__lte": limit.highest,
                }
            )
    if choices:
        is_one = models.Q(**{f"{column}__in": choices})
        return is_one | models.Q(**{f"{column}__isnull": True}) if limit.may_be_unset else is_one
    if limit.lowest is None:
        return models.Q()
    return in_range(column, limit.lowest, limit.highest)


def _integer(limit: Limit, **options: object) -> models.Field:
    is_positive = limit.lowest is None or limit.lowest >= 0
    field = models.PositiveIntegerField if is_positive else models.IntegerField
    return field(validators=_validators(limit), **options)


def _count(limit: Limit, **options: object) -> models.Field:
    return models.PositiveSmallIntegerField(validators=_validators(limit), **options)


def _measure(limit: Limit, **options: object) -> models.Field:
    return models.FloatField(validators=_validators(limit), **options)


def _force(limit: Limit, **options: object) -> models.Field:
    return models.PositiveSmallIntegerField(choices=_choices_of(limit), **options)


def _choice(limit: Limit, **options: object) -> models.Field:
    return models.CharField(max_length=20, choices=_choices_of(limit), **options)


def _choices_of(limit: Limit) -> list[tuple[object, str]]:
    """As written: migrations keep them."""
    return [(value, str(words)) for value, words in limit.choices.items()]


def _choices(limit: Limit, **options: object) -> models.Field:
    return ArrayField(models.CharField(max_length=20), **options)


def _validators(limit: Limit) -> list[object]:
    return [MinValueValidator(limit.lowest), MaxValueValidator(limit.highest)]


_COLUMNS = {
    Kind.LENGTH: _integer,
    Kind.AFTER_SUNSET: _integer,
    Kind.CLOCK: lambda limit, **options: models.TimeField(**options),
    Kind.COUNT: _count,
    Kind.FORCE: _force,
    Kind.CHOICE: _choice,
    Kind.CHOICES: _choices,
    Kind.CODE_TABLE: lambda limit, **options: models.JSONField(**options),
    Kind.YES_NO: lambda limit, **options: models.BooleanField(**options),
    Kind.LONG_DISTANCE: _measure,
    Kind.SHORT_DISTANCE: _measure,
    Kind.SPEED: _measure,
    Kind.TEMPERATURES: lambda limit, **options: ArrayField(
        models.DecimalField(max_digits=8, decimal_places=4), size=2, **options
    ),
}
