"""Every limit of the table in every place that is made from it."""

import dataclasses
import datetime as dt
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from accounts.edit_conflicts import yes_or_no
from surveys.api.serializers.protocols import ProtocolVersionSerializer
from surveys.models import ProtocolVersion
from surveys.programs import protocols
from surveys.programs.versionfacts import version_facts
from surveys.programs.versions import protocol_values, write_limits
from surveys.protocol.limits.limit import Kind
from surveys.protocol.limits.phrases import Units
from surveys.protocol.limits.table import LIMITS
from surveys.protocol.plain import to_plain
from surveys.protocol.values import DistanceUnit, SkyState, TemperatureUnit
from surveys.web.program.protocol_forms import LimitsForm
from tests.support.builders import make_version
from tests.support.for_each import for_each
from tests.support.limit_values import another

pytestmark = pytest.mark.django_db
UNITS = Units(temperature=TemperatureUnit.CELSIUS, distance=DistanceUnit.KILOMETERS)
every_limit = pytest.mark.parametrize("limit", LIMITS, ids=lambda limit: limit.name)


@pytest.fixture
def version(program):
    return make_version(program)


@every_limit
def test_a_limit_is_stored_and_read_back(version, limit):
    value, _ = another(limit, protocol_values(version))
    write_limits(version, dataclasses.replace(protocol_values(version), **{limit.name: value}))
    version.save()
    version.refresh_from_db()
    assert getattr(protocol_values(version), limit.name) == value


@for_each("limit", LIMITS, lambda limit: limit.name)
def test_the_column_has_the_default_of_the_table(limit):
    field = ProtocolVersion._meta.get_field(limit.column)
    assert field.null is limit.may_be_unset
    if limit.default is not None:
        assert field.get_default() == limit.to_column(limit.default)


@every_limit
def test_the_database_keeps_a_limit_in_its_range(version, limit):
    outside = {
        Kind.CLOCK: [],
        Kind.YES_NO: [],
        Kind.CHOICES: [["mild"]],
        Kind.FORCE: [99],
        Kind.CODE_TABLE: [{"1": "mild"}],
        Kind.CHOICE: ["stop"],
        Kind.TEMPERATURES: [
            [Decimal(45), Decimal(-15)],
            [Decimal(-15)],
            [Decimal(-15), Decimal(101)],
            [Decimal(-101), Decimal(45)],
        ],
    }.get(limit.kind)
    if outside is None:
        outside = [limit.lowest - 1, limit.highest + 1]
    for value in outside:
        setattr(version, limit.column, value)
        with pytest.raises(IntegrityError), transaction.atomic():
            version.save()


def test_columns_of_limits_are_those_of_the_table():
    """A column beside the table would be in no form and no rule."""
    others = {"id", "protocol", "number", "in_force_from", "source", "created_at"}
    others |= {"season_begins_month", "season_begins_day"}
    columns = {field.name for field in ProtocolVersion._meta.get_fields() if field.concrete}
    assert columns == others | {limit.column for limit in LIMITS}


@for_each("limit", LIMITS, lambda limit: limit.name)
def test_the_form_keeps_what_is_not_touched_and_takes_what_is_typed(program, version, limit):
    protocol = protocol_values(version)
    form = limits_form(program, protocol, None, None)
    assert form.is_valid(), form.errors
    assert getattr(form.limits(()), limit.name) == getattr(protocol, limit.name)
    value, typed = another(limit, protocol)
    form = limits_form(program, protocol, limit.name, typed)
    assert form.is_valid(), form.errors
    assert form.limits(()) == dataclasses.replace(protocol, windows=(), **{limit.name: value})
    assert [field.name for group in form.groups() for field in [*group[1], *group[2]]].count(
        limit.name
    ) == 1


def limits_form(program, protocol, name, typed):
    """The form posted as it is shown, but for one field."""
    options = {"program": program, "protocol": protocol, "in_force_from": dt.date(2026, 1, 1)}
    data = {"in_force_from": "2026-01-01", "season_begins_day": "1", "season_begins_month": "1"}
    blank = LimitsForm(**options)
    for limit in LIMITS:
        shown = typed if limit.name == name else blank[limit.name].value()
        if limit.kind in (Kind.TEMPERATURES, Kind.CODE_TABLE) and isinstance(shown, list):
            parts = ("from", "to") if limit.kind is Kind.TEMPERATURES else limit.choices
            shown = dict(zip(parts, shown, strict=True))
        if isinstance(shown, dict):
            data |= {f"{limit.name}_{end}": text for end, text in shown.items()}
        elif shown not in (None, False):
            data[limit.name] = shown
    return LimitsForm(data, **options)


@pytest.mark.parametrize("unit", TemperatureUnit)
def test_temperatures_are_typed_in_the_programs_unit(program, version, unit):
    program.temperature_unit = unit
    typed = {"from": "14", "to": "104"}
    form = limits_form(program, protocol_values(version), "plausible_temperature_c", typed)
    assert form.is_valid(), form.errors
    celsius = {TemperatureUnit.CELSIUS: (14, 104), TemperatureUnit.FAHRENHEIT: (-10, 40)}[unit]
    assert form.limits(()).plausible_temperature_c == tuple(map(Decimal, celsius))


@pytest.mark.parametrize(
    ("typed", "message"),
    [
        ({"from": "5", "to": ""}, "Give both temperatures."),
        ({"from": "", "to": ""}, "Give both temperatures."),
        ({"from": "cold", "to": "45"}, "A temperature is a number, such as 45."),
    ],
)
def test_temperatures_that_cannot_be_read(program, version, typed, message):
    form = limits_form(program, protocol_values(version), "plausible_temperature_c", typed)
    assert form.errors["plausible_temperature_c"] == [message]


@every_limit
def test_the_history_and_the_api_have_every_limit(version, limit):
    label = limit.in_units(limit.label, UNITS)
    before = version_facts(version)[label]
    value, _ = another(limit, protocol_values(version))
    write_limits(version, dataclasses.replace(protocol_values(version), **{limit.name: value}))
    version.save()
    version.refresh_from_db()
    assert version_facts(version)[label] not in ("", before)
    if limit.kind is Kind.YES_NO:
        assert version_facts(version)[label] == yes_or_no(value)
    assert limit.column in ProtocolVersionSerializer(version).data


@for_each("limit", LIMITS, lambda limit: limit.name)
def test_the_phone_gets_every_limit(version, limit):
    assert limit.name in to_plain(protocol_values(version))


@pytest.mark.parametrize(
    ("changes", "field", "message"),
    [
        ({"min_stops": 0}, "min_stops", "Give a value from 1 to 999."),
        (
            {"sky_codes": {"fog": SkyState.CLEAR}},
            "sky_codes",
            "“fog” is a word of the list, so it cannot be a code.",
        ),
    ],
)
def test_a_limit_out_of_its_range_is_refused(coordinator, version, changes, field, message):
    with pytest.raises(ValidationError) as refusal:
        protocols.add_version(
            coordinator,
            version.protocol_id,
            limits=dataclasses.replace(protocol_values(version), **changes),
            in_force_from=dt.date(2026, 1, 1),
        )
    assert list(refusal.value.message_dict) == [field]
    assert refusal.value.message_dict[field][0].startswith(message)
    assert version.protocol.versions.count() == 1
