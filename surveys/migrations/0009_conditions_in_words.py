"""Sky and noise in words; the numbers they had become codes of each protocol version that was in
force with them. What was typed stays as it was typed and is read by those codes.

Columns change in place, so that no trigger writes history: earlier versions of a row are carried
over in the same way.
"""

import functools
import json

import django.contrib.postgres.fields
import django.db.models.lookups
import pgtrigger.compiler
from django.conf import settings
from django.db import migrations, models

from surveys.migrations._at_once import AddTrigger, RemoveTrigger

SKY = {
    "0": "clear",
    "1": "partly_cloudy",
    "2": "overcast",
    "4": "fog",
    "5": "light_rain",
    "7": "snow",
    "8": "heavy_rain",
}
NOISE = {
    "0": "quiet",
    "1": "heard_through",
    "2": "faint_lost",
    "3": "loud_only",
    "4": "all_lost",
}

PERIODS = ("listeningperiod", "listeningperiodevent")
VERSIONS = ("protocolversion", "protocolversionevent")


def in_words(table, column, words, *, now="", unset="''"):
    """A column of numbers in words; `unset` stands where there was none."""
    cases = " ".join(f"WHEN {number} THEN '{word}'" for number, word in words.items())
    sql = (
        f'ALTER TABLE surveys_{table} DROP CONSTRAINT IF EXISTS surveys_{table}_{column}_check,'
        f' ALTER COLUMN {column} TYPE varchar(20)'
        f' USING CASE {column} {cases} ELSE {unset} END'
    )
    sql += "" if unset == "NULL" else f", ALTER COLUMN {column} SET NOT NULL"
    if now:
        sql += f"; ALTER TABLE surveys_{table} RENAME COLUMN {column} TO {now}"
    return migrations.RunSQL(sql)


def forbidden_in_words(table):
    """Where heavy rain was forbidden, thunder is too. No visit could say so before."""
    words = "wet_sky_codes::varchar[]"
    for number, word in SKY.items():
        words = f"array_replace({words}, '{number}', '{word}')"
    return migrations.RunSQL(
        f"ALTER TABLE surveys_{table} ALTER COLUMN wet_sky_codes TYPE varchar(20)[]"
        f" USING CASE WHEN 8 = ANY (wet_sky_codes) THEN array_append({words}, 'thunder')"
        f" ELSE {words} END;"
        f" ALTER TABLE surveys_{table} RENAME COLUMN wet_sky_codes TO forbidden_skies"
    )


def with_codes(table, column, words):
    """A table of codes on every row there is; a new row begins without."""
    return migrations.RunSQL(
        f"ALTER TABLE surveys_{table} ADD COLUMN {column} jsonb NOT NULL"
        f" DEFAULT '{json.dumps(words)}'::jsonb;"
        f" ALTER TABLE surveys_{table} ALTER COLUMN {column} DROP DEFAULT"
    )


RENAME_CELLS = r"""
ALTER TABLE surveys_visit DISABLE TRIGGER USER;
UPDATE surveys_visit SET cells = (
    SELECT jsonb_object_agg(regexp_replace(key, '^(stops\.\d+)\.noise_index$', '\1.noise'), value)
    FROM jsonb_each(cells)
)
WHERE cells::text LIKE '%.noise_index"%';
ALTER TABLE surveys_visit ENABLE TRIGGER USER;
"""


def rename_columns_of_imports(apps, schema_editor):
    for row in apps.get_model("surveys", "SpreadsheetImport").objects.iterator():
        columns = [
            [header, "noise" if meaning == "noise_index" else meaning]
            for header, meaning in row.columns
        ]
        if columns != row.columns:
            row.columns = columns
            row.save(update_fields=["columns"])


def findings_in_words(apps, schema_editor):
    """The parameters of stored findings; earlier versions of a row too, without writing history."""
    with schema_editor.connection.cursor() as cursor:
        cursor.execute("ALTER TABLE surveys_storedfinding DISABLE TRIGGER USER")
    for name in ("StoredFinding", "StoredFindingEvent"):
        rows = apps.get_model("surveys", name).objects.filter(code__in=CARRIED_FINDINGS)
        for row in rows.exclude(params={}).iterator():
            row.params = carried_params(row.code, row.params)
            row.save(update_fields=["params"])
    with schema_editor.connection.cursor() as cursor:
        for table in ("surveys_storedfinding", "surveys_storedfindingevent"):
            cursor.execute(
                f"UPDATE {table} SET field = replace(field, 'noise_index', 'noise')"
                " WHERE field LIKE '%%noise_index'"
            )
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE; SET CONSTRAINTS ALL DEFERRED")
        cursor.execute("ALTER TABLE surveys_storedfinding ENABLE TRIGGER USER")


CARRIED_FINDINGS = ("wet-sky", "noise-too-loud", "noise-missing")


def carried_params(code, params):
    """What the sentence of a stored finding is filled with, from numbers to words."""
    if code == "wet-sky":
        return {
            "sky": {"sky": SKY[str(params["sky"]["sky"])]},
            "place": params["place"],
        }
    if code == "noise-too-loud":
        return {
            "noise": {"noise": NOISE[str(params["noise"])]},
            "stop": params["stop"],
            "most": {"noise": NOISE[str(params["most"])]},
        }
    return json.loads(json.dumps(params).replace('"noise_index"', '"noise"'))


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
       v.days_since_rain,
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
       p.cars,
       p.moonlight,
       p.water_tonight,
       v.rain_48h_mm,
       v.rain_trace,
       v.changed_at
FROM counted_visit v
JOIN surveys_listeningperiod p ON p.visit_id = v.id
WHERE p.counts_in_trends;

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
JOIN surveys_callindex c ON c.period_id = p.id
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
-- very species, null where there is none or it does not count. This says once more what
-- counted_record says, in a form that the planner can look up period by period.
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
               FROM surveys_callindex r
               WHERE r.period_id = p.id
                 AND (r.species_id = s.id OR (s.id, r.species_id) IN (
                     SELECT joint_id, member_id FROM surveys_jointmember))
           ), CASE WHEN e.id IS NOT NULL THEN 0 END), -1)
           WHEN c.id IS NOT NULL THEN CASE WHEN c.counts_in_trends THEN c."index" END
           -- A member without a record of its own.
           WHEN s.id IN (SELECT member_id FROM surveys_jointmember) AND EXISTS (
               SELECT FROM surveys_jointmember m
               JOIN surveys_callindex r ON r.species_id = m.joint_id
               WHERE m.member_id = s.id AND r.period_id = p.id
           ) THEN NULL
           WHEN e.id IS NOT NULL THEN 0
       END AS call_index,
       CASE WHEN c.counts_in_trends THEN f.by_id END AS confirmed_by_id,
       CASE WHEN c.counts_in_trends THEN f.at END AS confirmed_at,
       CASE WHEN c.counts_in_trends THEN c."index" END AS recorded_index,
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
LEFT JOIN surveys_callindex c ON c.period_id = p.id AND c.species_id = s.id
LEFT JOIN surveys_confirmation f ON f.call_id = c.id;

-- One row a counted period and species on the checklist that night: heard, silent or missing.
CREATE VIEW counted_call AS
SELECT period_id, species_id, species_code, scientific_name, call_index, recorded_index,
       confirmed_by_id, confirmed_at, visit_id, stop_id, program_id, route_id, route_code, region,
       night, season_year, started_at, changed_at
FROM counted_period_species
WHERE listed;
"""
DROP_VIEWS = """
DROP VIEW counted_call, counted_period_species, counted_record, record_speaks_of, counted_written,
          counted_period, counted_visit
"""


class Migration(migrations.Migration):

    dependencies = [
        ('surveys', '0008_joint_members'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.RunSQL(DROP_VIEWS),
        migrations.RunSQL(RENAME_CELLS),
        migrations.RunPython(rename_columns_of_imports),
        migrations.RunPython(findings_in_words),
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
            model_name='protocolversion',
            name='insert_insert',
        ),
        RemoveTrigger(
            model_name='protocolversion',
            name='update_update',
        ),
        RemoveTrigger(
            model_name='protocolversion',
            name='delete_delete',
        ),
        migrations.RemoveConstraint(
            model_name='listeningperiod',
            name='period_sky',
        ),
        migrations.RemoveConstraint(
            model_name='listeningperiod',
            name='period_noise',
        ),
        migrations.RemoveConstraint(
            model_name='protocolversion',
            name='protocolversion_wet_sky_codes',
        ),
        migrations.RemoveConstraint(
            model_name='protocolversion',
            name='protocolversion_max_noise_index',
        ),
        migrations.RemoveConstraint(
            model_name='visit',
            name='visit_sky',
        ),
        migrations.SeparateDatabaseAndState(
            database_operations=[
                *(
                    in_words(table, column, SKY)
                    for table in ("visit", "visitevent")
                    for column in ("start_sky", "end_sky")
                ),
                *(in_words(table, "sky", SKY) for table in PERIODS),
                *(in_words(table, "noise_index", NOISE, now="noise") for table in PERIODS),
                *(
                    in_words(table, "max_noise_index", NOISE, now="loudest_noise", unset="NULL")
                    for table in VERSIONS
                ),
                *(forbidden_in_words(table) for table in VERSIONS),
                *(with_codes(table, "sky_codes", SKY) for table in VERSIONS),
                *(with_codes(table, "noise_codes", NOISE) for table in VERSIONS),
            ],
            state_operations=[
                migrations.RemoveField(
                    model_name='listeningperiod',
                    name='noise_index',
                ),
                migrations.RemoveField(
                    model_name='listeningperiodevent',
                    name='noise_index',
                ),
                migrations.RemoveField(
                    model_name='protocolversion',
                    name='max_noise_index',
                ),
                migrations.RemoveField(
                    model_name='protocolversion',
                    name='wet_sky_codes',
                ),
                migrations.RemoveField(
                    model_name='protocolversionevent',
                    name='max_noise_index',
                ),
                migrations.RemoveField(
                    model_name='protocolversionevent',
                    name='wet_sky_codes',
                ),
                migrations.AddField(
                    model_name='listeningperiod',
                    name='noise',
                    field=models.CharField(blank=True, choices=[('quiet', 'quiet'), ('heard_through', 'heard through'), ('faint_lost', 'faint calls lost'), ('loud_only', 'only loud calls'), ('all_lost', 'all calls lost')], max_length=20),
                ),
                migrations.AddField(
                    model_name='listeningperiodevent',
                    name='noise',
                    field=models.CharField(blank=True, choices=[('quiet', 'quiet'), ('heard_through', 'heard through'), ('faint_lost', 'faint calls lost'), ('loud_only', 'only loud calls'), ('all_lost', 'all calls lost')], max_length=20),
                ),
                migrations.AddField(
                    model_name='protocolversion',
                    name='forbidden_skies',
                    field=django.contrib.postgres.fields.ArrayField(base_field=models.CharField(max_length=20), blank=True, default=functools.partial(list, *((),), **{}), size=None),
                ),
                migrations.AddField(
                    model_name='protocolversion',
                    name='loudest_noise',
                    field=models.CharField(blank=True, choices=[('quiet', 'quiet: nothing to listen through'), ('heard_through', 'heard through: noise, but no call is missed'), ('faint_lost', 'faint calls lost: soft and distant calls are lost'), ('loud_only', 'only loud calls: only near callers and loud choruses get through'), ('all_lost', 'all calls lost: the noise covers every call')], max_length=20, null=True),
                ),
                migrations.AddField(
                    model_name='protocolversion',
                    name='noise_codes',
                    field=models.JSONField(blank=True, default=dict),
                ),
                migrations.AddField(
                    model_name='protocolversion',
                    name='sky_codes',
                    field=models.JSONField(blank=True, default=dict),
                ),
                migrations.AddField(
                    model_name='protocolversionevent',
                    name='forbidden_skies',
                    field=django.contrib.postgres.fields.ArrayField(base_field=models.CharField(max_length=20), blank=True, default=functools.partial(list, *((),), **{}), size=None),
                ),
                migrations.AddField(
                    model_name='protocolversionevent',
                    name='loudest_noise',
                    field=models.CharField(blank=True, choices=[('quiet', 'quiet: nothing to listen through'), ('heard_through', 'heard through: noise, but no call is missed'), ('faint_lost', 'faint calls lost: soft and distant calls are lost'), ('loud_only', 'only loud calls: only near callers and loud choruses get through'), ('all_lost', 'all calls lost: the noise covers every call')], max_length=20, null=True),
                ),
                migrations.AddField(
                    model_name='protocolversionevent',
                    name='noise_codes',
                    field=models.JSONField(blank=True, default=dict),
                ),
                migrations.AddField(
                    model_name='protocolversionevent',
                    name='sky_codes',
                    field=models.JSONField(blank=True, default=dict),
                ),
                migrations.AlterField(
                    model_name='listeningperiod',
                    name='sky',
                    field=models.CharField(blank=True, choices=[('clear', 'clear'), ('partly_cloudy', 'partly cloudy'), ('overcast', 'overcast'), ('fog', 'fog'), ('drizzle', 'drizzle'), ('light_rain', 'light rain'), ('heavy_rain', 'heavy rain'), ('snow', 'snow'), ('thunder', 'thunder')], max_length=20),
                ),
                migrations.AlterField(
                    model_name='listeningperiodevent',
                    name='sky',
                    field=models.CharField(blank=True, choices=[('clear', 'clear'), ('partly_cloudy', 'partly cloudy'), ('overcast', 'overcast'), ('fog', 'fog'), ('drizzle', 'drizzle'), ('light_rain', 'light rain'), ('heavy_rain', 'heavy rain'), ('snow', 'snow'), ('thunder', 'thunder')], max_length=20),
                ),
                migrations.AlterField(
                    model_name='visit',
                    name='end_sky',
                    field=models.CharField(blank=True, choices=[('clear', 'clear'), ('partly_cloudy', 'partly cloudy'), ('overcast', 'overcast'), ('fog', 'fog'), ('drizzle', 'drizzle'), ('light_rain', 'light rain'), ('heavy_rain', 'heavy rain'), ('snow', 'snow'), ('thunder', 'thunder')], max_length=20),
                ),
                migrations.AlterField(
                    model_name='visit',
                    name='start_sky',
                    field=models.CharField(blank=True, choices=[('clear', 'clear'), ('partly_cloudy', 'partly cloudy'), ('overcast', 'overcast'), ('fog', 'fog'), ('drizzle', 'drizzle'), ('light_rain', 'light rain'), ('heavy_rain', 'heavy rain'), ('snow', 'snow'), ('thunder', 'thunder')], max_length=20),
                ),
                migrations.AlterField(
                    model_name='visitevent',
                    name='end_sky',
                    field=models.CharField(blank=True, choices=[('clear', 'clear'), ('partly_cloudy', 'partly cloudy'), ('overcast', 'overcast'), ('fog', 'fog'), ('drizzle', 'drizzle'), ('light_rain', 'light rain'), ('heavy_rain', 'heavy rain'), ('snow', 'snow'), ('thunder', 'thunder')], max_length=20),
                ),
                migrations.AlterField(
                    model_name='visitevent',
                    name='start_sky',
                    field=models.CharField(blank=True, choices=[('clear', 'clear'), ('partly_cloudy', 'partly cloudy'), ('overcast', 'overcast'), ('fog', 'fog'), ('drizzle', 'drizzle'), ('light_rain', 'light rain'), ('heavy_rain', 'heavy rain'), ('snow', 'snow'), ('thunder', 'thunder')], max_length=20),
                ),
            ],
        ),
        migrations.AlterField(
            model_name='protocolversion',
            name='interruption',
            field=models.CharField(choices=[('pause', 'Stop the clock, then keep listening'), ('restart', 'Start over'), ('extend', 'Listen longer')], default='pause', max_length=20),
        ),
        migrations.AlterField(
            model_name='protocolversionevent',
            name='interruption',
            field=models.CharField(choices=[('pause', 'Stop the clock, then keep listening'), ('restart', 'Start over'), ('extend', 'Listen longer')], default='pause', max_length=20),
        ),
        AddTrigger(
            model_name='listeningperiod',
            trigger=pgtrigger.compiler.Trigger(name='insert_insert', sql=pgtrigger.compiler.UpsertTriggerSql(func='INSERT INTO "surveys_listeningperiodevent" ("air_temperature_c", "air_temperature_unit", "arrived_at", "beaufort", "cars", "counts_in_trends", "finished_at", "id", "interrupted", "measured_accuracy_m", "measured_at", "moonlight", "noise", "note", "paused_s", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "skip_reason", "sky", "started_at", "status", "stop_id", "visit_id", "water_temperature_c", "water_temperature_unit", "water_tonight") VALUES (NEW."air_temperature_c", NEW."air_temperature_unit", NEW."arrived_at", NEW."beaufort", NEW."cars", NEW."counts_in_trends", NEW."finished_at", NEW."id", NEW."interrupted", NEW."measured_accuracy_m", NEW."measured_at", NEW."moonlight", NEW."noise", NEW."note", NEW."paused_s", _pgh_attach_context(), NOW(), \'insert\', NEW."id", NEW."skip_reason", NEW."sky", NEW."started_at", NEW."status", NEW."stop_id", NEW."visit_id", NEW."water_temperature_c", NEW."water_temperature_unit", NEW."water_tonight"); RETURN NULL;', hash='aa79715617a2fc0d577cc14479226d23ec95ee5e', operation='INSERT', pgid='pgtrigger_insert_insert_d81d3', table='surveys_listeningperiod', when='AFTER')),
        ),
        AddTrigger(
            model_name='listeningperiod',
            trigger=pgtrigger.compiler.Trigger(name='update_update', sql=pgtrigger.compiler.UpsertTriggerSql(condition='WHEN (OLD.* IS DISTINCT FROM NEW.*)', func='INSERT INTO "surveys_listeningperiodevent" ("air_temperature_c", "air_temperature_unit", "arrived_at", "beaufort", "cars", "counts_in_trends", "finished_at", "id", "interrupted", "measured_accuracy_m", "measured_at", "moonlight", "noise", "note", "paused_s", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "skip_reason", "sky", "started_at", "status", "stop_id", "visit_id", "water_temperature_c", "water_temperature_unit", "water_tonight") VALUES (NEW."air_temperature_c", NEW."air_temperature_unit", NEW."arrived_at", NEW."beaufort", NEW."cars", NEW."counts_in_trends", NEW."finished_at", NEW."id", NEW."interrupted", NEW."measured_accuracy_m", NEW."measured_at", NEW."moonlight", NEW."noise", NEW."note", NEW."paused_s", _pgh_attach_context(), NOW(), \'update\', NEW."id", NEW."skip_reason", NEW."sky", NEW."started_at", NEW."status", NEW."stop_id", NEW."visit_id", NEW."water_temperature_c", NEW."water_temperature_unit", NEW."water_tonight"); RETURN NULL;', hash='c9d46802d51e53fbe08d9a0ddd3a3c92db17a934', operation='UPDATE', pgid='pgtrigger_update_update_0ee8a', table='surveys_listeningperiod', when='AFTER')),
        ),
        AddTrigger(
            model_name='listeningperiod',
            trigger=pgtrigger.compiler.Trigger(name='delete_delete', sql=pgtrigger.compiler.UpsertTriggerSql(func='INSERT INTO "surveys_listeningperiodevent" ("air_temperature_c", "air_temperature_unit", "arrived_at", "beaufort", "cars", "counts_in_trends", "finished_at", "id", "interrupted", "measured_accuracy_m", "measured_at", "moonlight", "noise", "note", "paused_s", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "skip_reason", "sky", "started_at", "status", "stop_id", "visit_id", "water_temperature_c", "water_temperature_unit", "water_tonight") VALUES (OLD."air_temperature_c", OLD."air_temperature_unit", OLD."arrived_at", OLD."beaufort", OLD."cars", OLD."counts_in_trends", OLD."finished_at", OLD."id", OLD."interrupted", OLD."measured_accuracy_m", OLD."measured_at", OLD."moonlight", OLD."noise", OLD."note", OLD."paused_s", _pgh_attach_context(), NOW(), \'delete\', OLD."id", OLD."skip_reason", OLD."sky", OLD."started_at", OLD."status", OLD."stop_id", OLD."visit_id", OLD."water_temperature_c", OLD."water_temperature_unit", OLD."water_tonight"); RETURN NULL;', hash='7d90e145f3cb1901701b116935aa140548c61c7f', operation='DELETE', pgid='pgtrigger_delete_delete_a7e36', table='surveys_listeningperiod', when='AFTER')),
        ),
        AddTrigger(
            model_name='protocolversion',
            trigger=pgtrigger.compiler.Trigger(name='insert_insert', sql=pgtrigger.compiler.UpsertTriggerSql(func='INSERT INTO "surveys_protocolversionevent" ("created_at", "earliest_start_after_sunset_min", "forbidden_skies", "id", "in_force_from", "interruption", "latest_end_after_sunset_min", "latest_end_clock", "listening_time_s", "longest_listening_time_s", "loudest_noise", "max_beaufort", "max_distance_from_stop_m", "max_drive_kmh", "min_days_between_visits", "min_stop_spacing_m", "min_stops", "noise_codes", "number", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "plausible_temperature_c", "protocol_id", "season_begins_day", "season_begins_month", "settling_wait_s", "sky_codes", "source", "stops_in_order", "training_needed") VALUES (NEW."created_at", NEW."earliest_start_after_sunset_min", NEW."forbidden_skies", NEW."id", NEW."in_force_from", NEW."interruption", NEW."latest_end_after_sunset_min", NEW."latest_end_clock", NEW."listening_time_s", NEW."longest_listening_time_s", NEW."loudest_noise", NEW."max_beaufort", NEW."max_distance_from_stop_m", NEW."max_drive_kmh", NEW."min_days_between_visits", NEW."min_stop_spacing_m", NEW."min_stops", NEW."noise_codes", NEW."number", _pgh_attach_context(), NOW(), \'insert\', NEW."id", NEW."plausible_temperature_c", NEW."protocol_id", NEW."season_begins_day", NEW."season_begins_month", NEW."settling_wait_s", NEW."sky_codes", NEW."source", NEW."stops_in_order", NEW."training_needed"); RETURN NULL;', hash='d18e799faa20354e60b90f9c17c5a8bdd4185325', operation='INSERT', pgid='pgtrigger_insert_insert_0e630', table='surveys_protocolversion', when='AFTER')),
        ),
        AddTrigger(
            model_name='protocolversion',
            trigger=pgtrigger.compiler.Trigger(name='update_update', sql=pgtrigger.compiler.UpsertTriggerSql(condition='WHEN (OLD.* IS DISTINCT FROM NEW.*)', func='INSERT INTO "surveys_protocolversionevent" ("created_at", "earliest_start_after_sunset_min", "forbidden_skies", "id", "in_force_from", "interruption", "latest_end_after_sunset_min", "latest_end_clock", "listening_time_s", "longest_listening_time_s", "loudest_noise", "max_beaufort", "max_distance_from_stop_m", "max_drive_kmh", "min_days_between_visits", "min_stop_spacing_m", "min_stops", "noise_codes", "number", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "plausible_temperature_c", "protocol_id", "season_begins_day", "season_begins_month", "settling_wait_s", "sky_codes", "source", "stops_in_order", "training_needed") VALUES (NEW."created_at", NEW."earliest_start_after_sunset_min", NEW."forbidden_skies", NEW."id", NEW."in_force_from", NEW."interruption", NEW."latest_end_after_sunset_min", NEW."latest_end_clock", NEW."listening_time_s", NEW."longest_listening_time_s", NEW."loudest_noise", NEW."max_beaufort", NEW."max_distance_from_stop_m", NEW."max_drive_kmh", NEW."min_days_between_visits", NEW."min_stop_spacing_m", NEW."min_stops", NEW."noise_codes", NEW."number", _pgh_attach_context(), NOW(), \'update\', NEW."id", NEW."plausible_temperature_c", NEW."protocol_id", NEW."season_begins_day", NEW."season_begins_month", NEW."settling_wait_s", NEW."sky_codes", NEW."source", NEW."stops_in_order", NEW."training_needed"); RETURN NULL;', hash='476a75dc664ebcff5b056b1b6bd397207a37e024', operation='UPDATE', pgid='pgtrigger_update_update_3cc80', table='surveys_protocolversion', when='AFTER')),
        ),
        AddTrigger(
            model_name='protocolversion',
            trigger=pgtrigger.compiler.Trigger(name='delete_delete', sql=pgtrigger.compiler.UpsertTriggerSql(func='INSERT INTO "surveys_protocolversionevent" ("created_at", "earliest_start_after_sunset_min", "forbidden_skies", "id", "in_force_from", "interruption", "latest_end_after_sunset_min", "latest_end_clock", "listening_time_s", "longest_listening_time_s", "loudest_noise", "max_beaufort", "max_distance_from_stop_m", "max_drive_kmh", "min_days_between_visits", "min_stop_spacing_m", "min_stops", "noise_codes", "number", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "plausible_temperature_c", "protocol_id", "season_begins_day", "season_begins_month", "settling_wait_s", "sky_codes", "source", "stops_in_order", "training_needed") VALUES (OLD."created_at", OLD."earliest_start_after_sunset_min", OLD."forbidden_skies", OLD."id", OLD."in_force_from", OLD."interruption", OLD."latest_end_after_sunset_min", OLD."latest_end_clock", OLD."listening_time_s", OLD."longest_listening_time_s", OLD."loudest_noise", OLD."max_beaufort", OLD."max_distance_from_stop_m", OLD."max_drive_kmh", OLD."min_days_between_visits", OLD."min_stop_spacing_m", OLD."min_stops", OLD."noise_codes", OLD."number", _pgh_attach_context(), NOW(), \'delete\', OLD."id", OLD."plausible_temperature_c", OLD."protocol_id", OLD."season_begins_day", OLD."season_begins_month", OLD."settling_wait_s", OLD."sky_codes", OLD."source", OLD."stops_in_order", OLD."training_needed"); RETURN NULL;', hash='4d534f1ff15353f0ad0e53ab1d00fc4babebcee1', operation='DELETE', pgid='pgtrigger_delete_delete_03e78', table='surveys_protocolversion', when='AFTER')),
        ),
        migrations.AddConstraint(
            model_name='listeningperiod',
            constraint=models.CheckConstraint(condition=models.Q(('sky__in', ['', 'clear', 'partly_cloudy', 'overcast', 'fog', 'drizzle', 'light_rain', 'heavy_rain', 'snow', 'thunder'])), name='period_sky'),
        ),
        migrations.AddConstraint(
            model_name='listeningperiod',
            constraint=models.CheckConstraint(condition=models.Q(('noise__in', ['', 'quiet', 'heard_through', 'faint_lost', 'loud_only', 'all_lost'])), name='period_noise'),
        ),
        migrations.AddConstraint(
            model_name='protocolversion',
            constraint=models.CheckConstraint(condition=models.Q(('forbidden_skies__contained_by', ['clear', 'partly_cloudy', 'overcast', 'fog', 'drizzle', 'light_rain', 'heavy_rain', 'snow', 'thunder'])), name='protocolversion_forbidden_skies'),
        ),
        migrations.AddConstraint(
            model_name='protocolversion',
            constraint=models.CheckConstraint(condition=models.Q(('loudest_noise__in', ['quiet', 'heard_through', 'faint_lost', 'loud_only', 'all_lost']), ('loudest_noise__isnull', True), _connector='OR'), name='protocolversion_loudest_noise'),
        ),
        migrations.AddConstraint(
            model_name='protocolversion',
            constraint=models.CheckConstraint(condition=models.Q(django.db.models.lookups.Exact(models.Func(models.F('sky_codes'), output_field=models.BooleanField(), template='jsonb_path_exists(%(expressions)s, \'$.* ? (!(@ == "clear" || @ == "partly_cloudy" || @ == "overcast" || @ == "fog" || @ == "drizzle" || @ == "light_rain" || @ == "heavy_rain" || @ == "snow" || @ == "thunder"))\')'), False)), name='protocolversion_sky_codes'),
        ),
        migrations.AddConstraint(
            model_name='protocolversion',
            constraint=models.CheckConstraint(condition=models.Q(django.db.models.lookups.Exact(models.Func(models.F('noise_codes'), output_field=models.BooleanField(), template='jsonb_path_exists(%(expressions)s, \'$.* ? (!(@ == "quiet" || @ == "heard_through" || @ == "faint_lost" || @ == "loud_only" || @ == "all_lost"))\')'), False)), name='protocolversion_noise_codes'),
        ),
        migrations.AddConstraint(
            model_name='visit',
            constraint=models.CheckConstraint(condition=models.Q(('start_sky__in', ['', 'clear', 'partly_cloudy', 'overcast', 'fog', 'drizzle', 'light_rain', 'heavy_rain', 'snow', 'thunder']), ('end_sky__in', ['', 'clear', 'partly_cloudy', 'overcast', 'fog', 'drizzle', 'light_rain', 'heavy_rain', 'snow', 'thunder'])), name='visit_sky'),
        ),
        migrations.RunSQL(VIEWS),
    ]
