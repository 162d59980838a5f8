"""Fields that neither a rule nor a model uses become own fields of the programs that have data of
them: cars that passed, moonlight, days since rain. What was typed and stored is carried over, in
earlier versions of a row too.
"""

from importlib import import_module

import pgtrigger.compiler
from django.db import migrations

from surveys.migrations._at_once import AddTrigger, RemoveTrigger

BEFORE = import_module("surveys.migrations.0009_conditions_in_words")

# A field that was on every sheet: its key, name, kind, where it was asked, and its greatest number.
FIELDS = (
    ("cars", "Cars that passed", "whole", "stop", 9999),
    ("moonlight", "Moonlight", "yes_no", "stop", None),
    ("days_since_rain", "Days since rain", "whole", "visit", 999),
)
IN_ROWS = {
    "stop": """SELECT FROM surveys_listeningperiod p JOIN surveys_visit v ON v.id = p.visit_id
        JOIN surveys_route r ON r.id = v.route_id
        WHERE r.program_id = program.id AND p.{key} IS NOT NULL""",
    "visit": """SELECT FROM surveys_visit v JOIN surveys_route r ON r.id = v.route_id
        WHERE r.program_id = program.id AND v.{key} IS NOT NULL""",
}
IN_CELLS = r"""SELECT FROM surveys_visit v JOIN surveys_route r ON r.id = v.route_id
    CROSS JOIN LATERAL jsonb_object_keys(v.cells) address
    WHERE r.program_id = program.id AND address ~ '{address}'"""
ADDRESSES = {"stop": r"^stops\.\d+\.{key}$", "visit": "^{key}$"}


def define_fields(apps, schema_editor):
    """For each program that has data of a field, typed or stored."""
    with schema_editor.connection.cursor() as cursor:
        for order, (key, label, kind, per, high) in enumerate(FIELDS, start=1):
            in_rows = IN_ROWS[per].format(key=key)
            in_cells = IN_CELLS.format(address=ADDRESSES[per].format(key=key))
            cursor.execute(
                'INSERT INTO surveys_ownfield (program_id, key, label, help, kind, per, unit, low,'
                ' high, choices, published, "order")'
                " SELECT program.id, %s, %s, '', %s, %s, '', %s, %s, '[]', true, %s"
                f" FROM surveys_program program WHERE EXISTS ({in_rows}) OR EXISTS ({in_cells})"
                " ON CONFLICT DO NOTHING",
                [key, label, kind, per, None if high is None else 0, high, order],
            )


def carried(table, *keys):
    pairs = ", ".join(f"'{key}', {key}" for key in keys)
    filled = " OR ".join(f"{key} IS NOT NULL" for key in keys)
    return migrations.RunSQL(
        f"UPDATE surveys_{table} SET own_fields ="
        f" jsonb_strip_nulls(jsonb_build_object({pairs})) || own_fields WHERE {filled}"
    )


RENAME_CELLS = r"""
UPDATE surveys_visit SET cells = (
    SELECT jsonb_object_agg(regexp_replace(
        regexp_replace(key, '^(stops\.\d+)\.(cars|moonlight)$', '\1.own.\2'),
        '^days_since_rain$', 'own.days_since_rain'
    ), value)
    FROM jsonb_each(cells)
)
WHERE cells::text ~ '(\.cars|\.moonlight|"days_since_rain)"'
"""


def rename_columns_of_imports(apps, schema_editor):
    former = {key for key, *_ in FIELDS}
    for row in apps.get_model("surveys", "SpreadsheetImport").objects.iterator():
        columns = [
            [header, f"own.{meaning}" if meaning in former else meaning]
            for header, meaning in row.columns
        ]
        if columns != row.columns:
            row.columns = columns
            row.save(update_fields=["columns"])


# A copy of surveys/models/counted.sql as it was; a test compares the two.
VIEWS = """
-- What counts in trends, said once. The yearly table, Seasons, the fits, the live records and the
-- publications all read these views; none of them looks at counts_in_trends itself.
--
-- Columns that a query does not name cost it nothing, and conditions on program_id, route_id,
-- season_year and the like reach the tables below. A migration that alters a column named here
-- has to drop the views first and make them again.

-- One row a visit that counts: accepted, and not left out as a whole by a coordinator. Of the rain,
-- either the amount is known or it was a trace; rain_trace is null where neither was written down.
CREATE VIEW counted_visit AS
SELECT v.id,
       r.program_id,
       v.route_id,
       r.code AS route_code,
       r.region,
       v.protocol_version_id,
       v.observer_id,
       v.night,
       v.season_year,
       v."window",
       v.start_air_temperature_c,
       v.start_beaufort,
       nullif(v.start_sky, '') AS start_sky,
       v.end_air_temperature_c,
       v.end_beaufort,
       nullif(v.end_sky, '') AS end_sky,
       v.rain_48h_mm,
       CASE WHEN v.rain_48h_is_trace OR v.rain_48h_mm IS NOT NULL
            THEN v.rain_48h_is_trace END AS rain_trace,
       v.own_fields,
       v.revision,
       v.changed_at
FROM surveys_visit v
JOIN surveys_route r ON r.id = v.route_id
WHERE v.counts_in_trends;

-- One row a listening period that counts: at a stop that was listened to, on a visit that counts,
-- and not left out by a coordinator. Temperature and wind fall back on the head of the visit's
-- sheet where the stop has none of its own. changed_at is that of the visit.
CREATE VIEW counted_period AS
SELECT p.id,
       p.visit_id,
       p.stop_id,
       v.program_id,
       v.route_id,
       v.route_code,
       v.region,
       v.protocol_version_id,
       v.night,
       v.season_year,
       p.started_at,
       p.finished_at,
       p.paused_s,
       coalesce(p.air_temperature_c, v.start_air_temperature_c) AS air_temperature_c,
       p.water_temperature_c,
       coalesce(p.beaufort, v.start_beaufort) AS beaufort,
       nullif(p.sky, '') AS sky,
       nullif(p.noise, '') AS noise,
       p.water_tonight,
       p.own_fields,
       v.rain_48h_mm,
       v.rain_trace,
       v.changed_at
FROM counted_visit v
JOIN surveys_listeningperiod p ON p.visit_id = v.id
WHERE p.counts_in_trends;

-- Calls but those that were heard only beyond the listening radius of the protocol: they say
-- nothing of what is within it, so a species is as if nothing had been written down for it, silent
-- where it was listed. One that a coordinator left out stays: it makes its species missing.
CREATE VIEW call_within AS
SELECT id, period_id, species_id, "index", counts_in_trends
FROM surveys_callindex
WHERE NOT (distance = 'far' AND (counts_in_trends OR not_sure));

-- One row a call that was written down at a counted period. call_index is 1 to 3, or null where
-- the row makes its species missing there, not absent: it was heard but not known for sure, or a
-- coordinator left it out. A species off the checklist of the night is here too; listed tells.
-- confirmed_by_id and confirmed_at are null unless the call was confirmed by ear, from a recording.
CREATE VIEW counted_written AS
SELECT c.id,
       c.period_id,
       c.species_id,
       e.id IS NOT NULL AS listed,
       CASE WHEN c.counts_in_trends THEN c."index" END AS call_index,
       CASE WHEN c.counts_in_trends THEN f.by_id END AS confirmed_by_id,
       CASE WHEN c.counts_in_trends THEN f.at END AS confirmed_at,
       p.visit_id,
       p.stop_id,
       p.program_id,
       p.route_id,
       p.night,
       p.season_year
FROM counted_period p
JOIN call_within c ON c.period_id = p.id
LEFT JOIN surveys_confirmation f ON f.call_id = c.id
LEFT JOIN surveys_checklistentry e
  ON e.program_id = p.program_id
 AND e.species_id = c.species_id
 AND (e.listed_from IS NULL OR e.listed_from <= p.night)
 AND (e.listed_until IS NULL OR p.night <= e.listed_until);

-- What a record says of species: of its own, and where a joint entry and its members are concerned,
-- of them. A record of a member is one of its joint entry. A record of a joint entry leaves open
-- which of its members called, so it can make them missing, never heard.
CREATE VIEW record_speaks_of AS
SELECT id AS recorded_id, id AS species_id, true AS as_heard FROM surveys_species
UNION ALL
SELECT member_id, joint_id, true FROM surveys_jointmember
UNION ALL
SELECT joint_id, member_id, false FROM surveys_jointmember;

-- One row a counted period and species of which a record speaks there. call_index is the highest
-- of these records, or null: missing. So a joint entry is heard wherever it or a member was, and a
-- member is missing where a joint entry of it was written down and itself was not. Confirmed by
-- ear is only what was written down as the very species.
CREATE VIEW counted_record AS
SELECT w.period_id,
       x.species_id,
       max(CASE WHEN x.as_heard THEN w.call_index END) AS call_index,
       max(w.confirmed_by_id) FILTER (WHERE x.recorded_id = x.species_id) AS confirmed_by_id,
       max(w.confirmed_at) FILTER (WHERE x.recorded_id = x.species_id) AS confirmed_at,
       w.visit_id,
       w.stop_id,
       w.program_id,
       w.route_id,
       w.night,
       w.season_year
FROM counted_written w
JOIN record_speaks_of x ON x.recorded_id = w.species_id
GROUP BY w.period_id, x.species_id, w.visit_id, w.stop_id, w.program_id, w.route_id, w.night,
         w.season_year;

-- One row a counted period and species of the catalog, to be asked for one species or for those
-- on the list. listed: the species was on the program's checklist that night. call_index is
-- 1 to 3 where it was heard; 0 where it was listed and no call says anything of it; else null:
-- missing, or not listened for. recorded_index is that of the call that was written down for the
-- very species, null where there is none or it does not count; far_index that of one that was
-- heard only beyond the listening radius. This says once more what counted_record says, in a form
-- that the planner can look up period by period.
CREATE VIEW counted_period_species AS
SELECT p.id AS period_id,
       s.id AS species_id,
       s.code AS species_code,
       s.scientific_name,
       e.id IS NOT NULL AS listed,
       CASE
           -- A joint entry, by its own record and those of its members. Below 0 is missing.
           WHEN s.id IN (SELECT joint_id FROM surveys_jointmember) THEN nullif(coalesce((
               SELECT max(CASE WHEN r.counts_in_trends THEN r."index" ELSE -1 END)
               FROM call_within r
               WHERE r.period_id = p.id
                 AND (r.species_id = s.id OR (s.id, r.species_id) IN (
                     SELECT joint_id, member_id FROM surveys_jointmember))
           ), CASE WHEN e.id IS NOT NULL THEN 0 END), -1)
           WHEN c.id IS NOT NULL THEN CASE WHEN c.counts_in_trends THEN c."index" END
           -- A member without a record of its own.
           WHEN s.id IN (SELECT member_id FROM surveys_jointmember) AND EXISTS (
               SELECT FROM surveys_jointmember m
               JOIN call_within r ON r.species_id = m.joint_id
               WHERE m.member_id = s.id AND r.period_id = p.id
           ) THEN NULL
           WHEN e.id IS NOT NULL THEN 0
       END AS call_index,
       CASE WHEN c.counts_in_trends THEN f.by_id END AS confirmed_by_id,
       CASE WHEN c.counts_in_trends THEN f.at END AS confirmed_at,
       CASE WHEN c.counts_in_trends THEN c."index" END AS recorded_index,
       (SELECT r."index" FROM surveys_callindex r
        WHERE r.period_id = p.id AND r.species_id = s.id AND r.distance = 'far'
          AND r.counts_in_trends) AS far_index,
       p.visit_id,
       p.stop_id,
       p.program_id,
       p.route_id,
       p.route_code,
       p.region,
       p.night,
       p.season_year,
       p.started_at,
       p.changed_at
FROM counted_period p
CROSS JOIN surveys_species s
LEFT JOIN surveys_checklistentry e
  ON e.program_id = p.program_id
 AND e.species_id = s.id
 AND (e.listed_from IS NULL OR e.listed_from <= p.night)
 AND (e.listed_until IS NULL OR p.night <= e.listed_until)
LEFT JOIN call_within c ON c.period_id = p.id AND c.species_id = s.id
LEFT JOIN surveys_confirmation f ON f.call_id = c.id;

-- One row a counted period and species on the checklist that night: heard, silent or missing.
CREATE VIEW counted_call AS
SELECT period_id, species_id, species_code, scientific_name, call_index, recorded_index,
       far_index, confirmed_by_id, confirmed_at, visit_id, stop_id, program_id, route_id,
       route_code, region, night, season_year, started_at, changed_at
FROM counted_period_species
WHERE listed;
"""
class Migration(migrations.Migration):

    dependencies = [
        ('surveys', '0014_own_fields'),
    ]

    operations = [
        migrations.RunSQL(BEFORE.DROP_VIEWS),
        RemoveTrigger(
            model_name='listeningperiod',
            name='insert_insert',
        ),
        RemoveTrigger(
            model_name='listeningperiod',
            name='update_update',
        ),
        RemoveTrigger(
            model_name='listeningperiod',
            name='delete_delete',
        ),
        RemoveTrigger(
            model_name='visit',
            name='insert_insert',
        ),
        RemoveTrigger(
            model_name='visit',
            name='update_update',
        ),
        RemoveTrigger(
            model_name='visit',
            name='delete_delete',
        ),
        migrations.RunPython(define_fields),
        carried("listeningperiod", "cars", "moonlight"),
        carried("listeningperiodevent", "cars", "moonlight"),
        carried("visit", "days_since_rain"),
        carried("visitevent", "days_since_rain"),
        migrations.RunSQL(RENAME_CELLS),
        migrations.RunPython(rename_columns_of_imports),
        # A table with checks still to be made cannot lose a column.
        migrations.RunSQL("SET CONSTRAINTS ALL IMMEDIATE; SET CONSTRAINTS ALL DEFERRED"),
        migrations.RemoveField(
            model_name='listeningperiod',
            name='cars',
        ),
        migrations.RemoveField(
            model_name='listeningperiod',
            name='moonlight',
        ),
        migrations.RemoveField(
            model_name='listeningperiodevent',
            name='cars',
        ),
        migrations.RemoveField(
            model_name='listeningperiodevent',
            name='moonlight',
        ),
        migrations.RemoveField(
            model_name='visit',
            name='days_since_rain',
        ),
        migrations.RemoveField(
            model_name='visitevent',
            name='days_since_rain',
        ),
        AddTrigger(
            model_name='listeningperiod',
            trigger=pgtrigger.compiler.Trigger(name='insert_insert', sql=pgtrigger.compiler.UpsertTriggerSql(func='INSERT INTO "surveys_listeningperiodevent" ("air_temperature_c", "air_temperature_unit", "arrived_at", "beaufort", "counts_in_trends", "finished_at", "id", "interrupted", "measured_accuracy_m", "measured_at", "noise", "note", "own_fields", "paused_s", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "skip_reason", "sky", "started_at", "status", "stop_id", "visit_id", "water_temperature_c", "water_temperature_unit", "water_tonight") VALUES (NEW."air_temperature_c", NEW."air_temperature_unit", NEW."arrived_at", NEW."beaufort", NEW."counts_in_trends", NEW."finished_at", NEW."id", NEW."interrupted", NEW."measured_accuracy_m", NEW."measured_at", NEW."noise", NEW."note", NEW."own_fields", NEW."paused_s", _pgh_attach_context(), NOW(), \'insert\', NEW."id", NEW."skip_reason", NEW."sky", NEW."started_at", NEW."status", NEW."stop_id", NEW."visit_id", NEW."water_temperature_c", NEW."water_temperature_unit", NEW."water_tonight"); RETURN NULL;', hash='5e4b3e2c3cfd7407b816eee90de20d57fb985faf', operation='INSERT', pgid='pgtrigger_insert_insert_d81d3', table='surveys_listeningperiod', when='AFTER')),
        ),
        AddTrigger(
            model_name='listeningperiod',
            trigger=pgtrigger.compiler.Trigger(name='update_update', sql=pgtrigger.compiler.UpsertTriggerSql(condition='WHEN (OLD.* IS DISTINCT FROM NEW.*)', func='INSERT INTO "surveys_listeningperiodevent" ("air_temperature_c", "air_temperature_unit", "arrived_at", "beaufort", "counts_in_trends", "finished_at", "id", "interrupted", "measured_accuracy_m", "measured_at", "noise", "note", "own_fields", "paused_s", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "skip_reason", "sky", "started_at", "status", "stop_id", "visit_id", "water_temperature_c", "water_temperature_unit", "water_tonight") VALUES (NEW."air_temperature_c", NEW."air_temperature_unit", NEW."arrived_at", NEW."beaufort", NEW."counts_in_trends", NEW."finished_at", NEW."id", NEW."interrupted", NEW."measured_accuracy_m", NEW."measured_at", NEW."noise", NEW."note", NEW."own_fields", NEW."paused_s", _pgh_attach_context(), NOW(), \'update\', NEW."id", NEW."skip_reason", NEW."sky", NEW."started_at", NEW."status", NEW."stop_id", NEW."visit_id", NEW."water_temperature_c", NEW."water_temperature_unit", NEW."water_tonight"); RETURN NULL;', hash='d987a9d3f9a9cccb642265aed991e000d4ff79d7', operation='UPDATE', pgid='pgtrigger_update_update_0ee8a', table='surveys_listeningperiod', when='AFTER')),
        ),
        AddTrigger(
            model_name='listeningperiod',
            trigger=pgtrigger.compiler.Trigger(name='delete_delete', sql=pgtrigger.compiler.UpsertTriggerSql(func='INSERT INTO "surveys_listeningperiodevent" ("air_temperature_c", "air_temperature_unit", "arrived_at", "beaufort", "counts_in_trends", "finished_at", "id", "interrupted", "measured_accuracy_m", "measured_at", "noise", "note", "own_fields", "paused_s", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "skip_reason", "sky", "started_at", "status", "stop_id", "visit_id", "water_temperature_c", "water_temperature_unit", "water_tonight") VALUES (OLD."air_temperature_c", OLD."air_temperature_unit", OLD."arrived_at", OLD."beaufort", OLD."counts_in_trends", OLD."finished_at", OLD."id", OLD."interrupted", OLD."measured_accuracy_m", OLD."measured_at", OLD."noise", OLD."note", OLD."own_fields", OLD."paused_s", _pgh_attach_context(), NOW(), \'delete\', OLD."id", OLD."skip_reason", OLD."sky", OLD."started_at", OLD."status", OLD."stop_id", OLD."visit_id", OLD."water_temperature_c", OLD."water_temperature_unit", OLD."water_tonight"); RETURN NULL;', hash='50f0f73fb5de798949f5255f906707c680bf5fab', operation='DELETE', pgid='pgtrigger_delete_delete_a7e36', table='surveys_listeningperiod', when='AFTER')),
        ),
        AddTrigger(
            model_name='visit',
            trigger=pgtrigger.compiler.Trigger(name='insert_insert', sql=pgtrigger.compiler.UpsertTriggerSql(func='INSERT INTO "surveys_visitevent" ("cells", "changed_at", "counts_in_trends", "created_at", "end_air_temperature_c", "end_air_temperature_unit", "end_beaufort", "end_sky", "id", "night", "notes", "observer_id", "own_fields", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "protocol_version_id", "rain_48h_is_trace", "rain_48h_mm", "rain_48h_unit", "revision", "route_id", "season_year", "second_observer", "source", "start_air_temperature_c", "start_air_temperature_unit", "start_beaufort", "start_sky", "state", "submitted_at", "window") VALUES (NEW."cells", NEW."changed_at", NEW."counts_in_trends", NEW."created_at", NEW."end_air_temperature_c", NEW."end_air_temperature_unit", NEW."end_beaufort", NEW."end_sky", NEW."id", NEW."night", NEW."notes", NEW."observer_id", NEW."own_fields", _pgh_attach_context(), NOW(), \'insert\', NEW."id", NEW."protocol_version_id", NEW."rain_48h_is_trace", NEW."rain_48h_mm", NEW."rain_48h_unit", NEW."revision", NEW."route_id", NEW."season_year", NEW."second_observer", NEW."source", NEW."start_air_temperature_c", NEW."start_air_temperature_unit", NEW."start_beaufort", NEW."start_sky", NEW."state", NEW."submitted_at", NEW."window"); RETURN NULL;', hash='b33841c38b1840630b8e2ced86d6abe06e52f5c1', operation='INSERT', pgid='pgtrigger_insert_insert_a3e89', table='surveys_visit', when='AFTER')),
        ),
        AddTrigger(
            model_name='visit',
            trigger=pgtrigger.compiler.Trigger(name='update_update', sql=pgtrigger.compiler.UpsertTriggerSql(condition='WHEN (OLD.* IS DISTINCT FROM NEW.*)', func='INSERT INTO "surveys_visitevent" ("cells", "changed_at", "counts_in_trends", "created_at", "end_air_temperature_c", "end_air_temperature_unit", "end_beaufort", "end_sky", "id", "night", "notes", "observer_id", "own_fields", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "protocol_version_id", "rain_48h_is_trace", "rain_48h_mm", "rain_48h_unit", "revision", "route_id", "season_year", "second_observer", "source", "start_air_temperature_c", "start_air_temperature_unit", "start_beaufort", "start_sky", "state", "submitted_at", "window") VALUES (NEW."cells", NEW."changed_at", NEW."counts_in_trends", NEW."created_at", NEW."end_air_temperature_c", NEW."end_air_temperature_unit", NEW."end_beaufort", NEW."end_sky", NEW."id", NEW."night", NEW."notes", NEW."observer_id", NEW."own_fields", _pgh_attach_context(), NOW(), \'update\', NEW."id", NEW."protocol_version_id", NEW."rain_48h_is_trace", NEW."rain_48h_mm", NEW."rain_48h_unit", NEW."revision", NEW."route_id", NEW."season_year", NEW."second_observer", NEW."source", NEW."start_air_temperature_c", NEW."start_air_temperature_unit", NEW."start_beaufort", NEW."start_sky", NEW."state", NEW."submitted_at", NEW."window"); RETURN NULL;', hash='3319fbc1860b5de5e3634c5faff033afeed1e21c', operation='UPDATE', pgid='pgtrigger_update_update_2577a', table='surveys_visit', when='AFTER')),
        ),
        AddTrigger(
            model_name='visit',
            trigger=pgtrigger.compiler.Trigger(name='delete_delete', sql=pgtrigger.compiler.UpsertTriggerSql(func='INSERT INTO "surveys_visitevent" ("cells", "changed_at", "counts_in_trends", "created_at", "end_air_temperature_c", "end_air_temperature_unit", "end_beaufort", "end_sky", "id", "night", "notes", "observer_id", "own_fields", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "protocol_version_id", "rain_48h_is_trace", "rain_48h_mm", "rain_48h_unit", "revision", "route_id", "season_year", "second_observer", "source", "start_air_temperature_c", "start_air_temperature_unit", "start_beaufort", "start_sky", "state", "submitted_at", "window") VALUES (OLD."cells", OLD."changed_at", OLD."counts_in_trends", OLD."created_at", OLD."end_air_temperature_c", OLD."end_air_temperature_unit", OLD."end_beaufort", OLD."end_sky", OLD."id", OLD."night", OLD."notes", OLD."observer_id", OLD."own_fields", _pgh_attach_context(), NOW(), \'delete\', OLD."id", OLD."protocol_version_id", OLD."rain_48h_is_trace", OLD."rain_48h_mm", OLD."rain_48h_unit", OLD."revision", OLD."route_id", OLD."season_year", OLD."second_observer", OLD."source", OLD."start_air_temperature_c", OLD."start_air_temperature_unit", OLD."start_beaufort", OLD."start_sky", OLD."state", OLD."submitted_at", OLD."window"); RETURN NULL;', hash='2bfb71bb0fb7342e2dce323815fa6c9a3bfab8c6', operation='DELETE', pgid='pgtrigger_delete_delete_102dc', table='surveys_visit', when='AFTER')),
        ),
        migrations.RunSQL(VIEWS),
    ]
