"""Stores what was read from a sheet: listening periods, calls, sightings, findings.

The caller holds the lock on the visit's row. Rows of an earlier submission are kept if they
are the same, updated if they differ, and deleted if the sheet no longer has them; the history
triggers record the changes.
"""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Mapping

from django.contrib.gis.geos import Point
from django.utils import translation

from surveys.models import (
    CallIndex,
    ListeningPeriod,
    Photo,
    Sighting,
    StoredFinding,
    Visit,
)
from surveys.protocol import values
from surveys.protocol.weather import to_celsius
from surveys.visits.judging import Judgment
from surveys.visits.sheet.stops import StopFacts

_MAX_FIELD_LENGTH = 60


def write_rows(visit: Visit, judgment: Judgment) -> None:
    """Set the visit's fields from the sheet (not saved) and write its dependent rows."""
    set_visit_fields(visit, judgment)
    periods = _write_periods(visit, judgment)
    _write_calls(visit, judgment, periods)
    _write_sightings(visit, judgment)
    _write_findings(visit, judgment)


def set_visit_fields(visit: Visit, judgment: Judgment) -> None:
    reading = judgment.reading
    for name, value in vars(reading.facts).items():
        setattr(visit, name, value)
    for end, weather in (("start", reading.visit.start), ("end", reading.visit.end)):
        celsius, unit = _temperature(weather.air_temperature)
        setattr(visit, f"{end}_air_temperature_c", celsius)
        setattr(visit, f"{end}_air_temperature_unit", unit)
        setattr(visit, f"{end}_beaufort", weather.beaufort)
        setattr(visit, f"{end}_sky", weather.sky or "")


def _write_periods(visit: Visit, judgment: Judgment) -> dict[int, ListeningPeriod]:
    keys = dict(visit.periods.values_list("stop_id", "pk"))
    periods = period_rows(visit, judgment, keys)
    visit.periods.exclude(pk__in=[row.pk for row in periods.values()]).delete()
    _upsert(ListeningPeriod, periods.values(), unique=("visit", "stop"))
    return periods


def period_rows(
    visit: Visit, judgment: Judgment, keys: Mapping[int, uuid.UUID]
) -> dict[int, ListeningPeriod]:
    """Unsaved rows by stop number. `keys` maps stop ids to the ids of existing rows."""
    reading, stops = judgment.reading, judgment.background.stops
    return {
        period.stop: _period_row(
            visit,
            period,
            reading.stop_facts[period.stop],
            stop_id=stops[period.stop].pk,
            key=keys.get(stops[period.stop].pk) or uuid.uuid4(),
        )
        for period in reading.visit.periods
    }


def _period_row(
    visit: Visit, period: values.Period, facts: StopFacts, *, stop_id: int, key: uuid.UUID
) -> ListeningPeriod:
    air, air_unit = _temperature(period.air_temperature)
    water, water_unit = _temperature(period.water_temperature)
    place = period.measured_at
    return ListeningPeriod(
        id=key,
        visit=visit,
        stop_id=stop_id,
        status=period.status.value,
        arrived_at=period.arrived_at,
        started_at=period.started_at,
        finished_at=period.finished_at,
        paused_s=round(period.paused.total_seconds()),
        air_temperature_c=air,
        air_temperature_unit=air_unit,
        water_temperature_c=water,
        water_temperature_unit=water_unit,
        beaufort=period.beaufort,
        sky=period.sky or "",
        noise=period.noise or "",
        measured_at=Point(place.longitude, place.latitude, srid=4326) if place else None,
        measured_accuracy_m=period.measured_accuracy_m,
        **vars(facts),
    )


def _write_calls(visit: Visit, judgment: Judgment, periods: dict[int, ListeningPeriod]) -> None:
    calls = call_rows(judgment, periods)
    keys = {(call.period_id, call.species_id) for call in calls}
    existing = CallIndex.objects.filter(period__visit=visit)
    stale_keys = [
        pk
        for pk, period_id, species_id in existing.values_list("pk", "period_id", "species_id")
        if (period_id, species_id) not in keys
    ]
    if stale_keys:
        existing.filter(pk__in=stale_keys).delete()
    _upsert(CallIndex, calls, unique=("period", "species"))


def call_rows(judgment: Judgment, periods: Mapping[int, ListeningPeriod]) -> list[CallIndex]:
    """Unsaved rows. A call without an index is stored as not sure: missing, never zero. Near and
    far mean nothing without a listening radius."""
    species = judgment.background.species
    has_radius = judgment.background.protocol.listening_radius_m is not None
    return [
        CallIndex(
            period=periods[period.stop],
            species=species[call.species],
            index=call.index,
            not_sure=call.index is None,
            distance=(call.distance or "") if has_radius else "",
        )
        for period in judgment.reading.visit.periods
        for call in period.calls
        if call.index != 0
    ]


def _write_sightings(visit: Visit, judgment: Judgment) -> None:
    photos = dict(Photo.objects.filter(visit=visit).values_list("row", "pk"))
    sightings = sighting_rows(visit, judgment, photos)
    visit.sightings.exclude(row__in=[sighting.row for sighting in sightings]).delete()
    _upsert(Sighting, sightings, unique=("visit", "row"))


def sighting_rows(
    visit: Visit, judgment: Judgment, photos: Mapping[int, uuid.UUID]
) -> list[Sighting]:
    """Unsaved rows. `photos` maps rows of the sheet to the ids of photos."""
    background = judgment.background
    return [
        Sighting(
            visit=visit,
            row=facts.row,
            stop=background.stops[facts.stop] if facts.stop is not None else None,
            species=background.species[facts.species],
            life_stage=facts.life_stage,
            count=facts.count,
            color_form=facts.color_form,
            note=facts.note,
            photo_id=photos.get(facts.row),
        )
        for facts in judgment.reading.sightings
    ]


def _write_findings(visit: Visit, judgment: Judgment) -> None:
    """Replace the findings; those with the same wording as before keep their settlement."""
    existing: dict[tuple, list[StoredFinding]] = defaultdict(list)
    for row in visit.findings.select_related("species").order_by("-pk"):
        existing[_finding_key(row)].append(row)
    new_rows = []
    for row in finding_rows(visit, judgment):
        if kept := existing[_finding_key(row)]:
            kept.pop()
        else:
            new_rows.append(row)
    stale_keys = [row.pk for rows in existing.values() for row in rows]
    if stale_keys:
        visit.findings.filter(pk__in=stale_keys).delete()
    StoredFinding.objects.bulk_create(new_rows)


def finding_rows(visit: Visit, judgment: Judgment) -> list[StoredFinding]:
    return [_finding_row(visit, finding, judgment) for finding in judgment.findings]


def _finding_row(visit: Visit, finding: values.Finding, judgment: Judgment) -> StoredFinding:
    background, where = judgment.background, finding.where
    stop = background.stops.get(where.stop) if where.stop is not None else None
    species = background.species.get(where.species) if where.species is not None else None
    return StoredFinding(
        visit=visit,
        code=finding.code,
        severity=finding.severity.value,
        stop=stop,
        species=species,
        field=(where.field or "")[:_MAX_FIELD_LENGTH],
        variant=finding.variant,
        params=dict(finding.params),
    )


def _finding_key(row: StoredFinding) -> tuple:
    """What two findings have in common that say the same. One that is stored in words says it in
    English."""
    with translation.override(None):
        message = row.message
    return row.code, row.severity, row.stop_id, row.species_id, row.field, message


def _temperature(reading: values.Temperature | None) -> tuple:
    if reading is None:
        return None, ""
    return to_celsius(reading), reading.unit.value


def _upsert(model, rows, *, unique: tuple[str, ...]) -> None:
    fields = [
        field.name
        for field in model._meta.concrete_fields
        if not field.primary_key and field.name not in unique
    ]
    model.objects.bulk_create(
        list(rows), update_conflicts=True, unique_fields=unique, update_fields=fields
    )
