from importlib import import_module

import django.db.models.deletion
import pgtrigger.compiler
from django.conf import settings
from django.db import migrations, models

from surveys.migrations._at_once import AddTrigger

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
       v.start_sky,
       v.end_air_temperature_c,
       v.end_beaufort,
       v.end_sky,
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
       p.sky,
       p.noise_index,
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
-- coordinator left it out. A species off the checklist of the night is here too. confirmed_by_id
-- and confirmed_at are null unless the call was confirmed by ear, from a recording.
CREATE VIEW counted_record AS
SELECT c.id,
       c.period_id,
       c.species_id,
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
LEFT JOIN surveys_confirmation f ON f.call_id = c.id;

-- One row a counted period and species of the catalog, to be asked for one species or for those
-- on the list. listed: the species was on the program's checklist that night. call_index is
-- 1 to 3 where it was heard; 0 where it was listed and nothing was written down for it; else null:
-- missing (heard but not sure of, or left out by a coordinator) or not listened for.
CREATE VIEW counted_period_species AS
SELECT p.id AS period_id,
       s.id AS species_id,
       s.code AS species_code,
       s.scientific_name,
       e.id IS NOT NULL AS listed,
       CASE WHEN c.id IS NOT NULL THEN CASE WHEN c.counts_in_trends THEN c."index" END
            WHEN e.id IS NOT NULL THEN 0
       END AS call_index,
       CASE WHEN c.counts_in_trends THEN f.by_id END AS confirmed_by_id,
       CASE WHEN c.counts_in_trends THEN f.at END AS confirmed_at,
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
SELECT period_id, species_id, species_code, scientific_name, call_index, confirmed_by_id,
       confirmed_at, visit_id, stop_id, program_id, route_id, route_code, region, night,
       season_year, started_at, changed_at
FROM counted_period_species
WHERE listed;
"""
DROP_VIEWS = "DROP VIEW counted_call, counted_period_species, counted_record, counted_period, counted_visit;"
VIEWS_BEFORE = import_module("surveys.migrations.0001_initial").VIEWS


class Migration(migrations.Migration):

    dependencies = [
        ('pghistory', '0007_auto_20250421_0444'),
        ('surveys', '0002_findings_as_parameters'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.RunSQL(DROP_VIEWS, VIEWS_BEFORE),
        migrations.AlterField(
            model_name='reviewstep',
            name='step',
            field=models.CharField(choices=[('submitted', 'Submitted'), ('corrected', 'Corrected'), ('settled', 'Query settled'), ('sent_back', 'Sent back'), ('accepted', 'Accepted'), ('set_aside', 'Set aside'), ('reopened', 'Opened again'), ('confirmed', 'Confirmed by ear'), ('taken_back', 'Confirmation taken back')], max_length=10),
        ),
        migrations.CreateModel(
            name='Confirmation',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('at', models.DateTimeField()),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('call', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, related_name='confirmation', to='surveys.callindex')),
                ('recording', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='confirmations', to='surveys.recording')),
            ],
            options={
                'ordering': ['call'],
            },
        ),
        migrations.CreateModel(
            name='ConfirmationEvent',
            fields=[
                ('pgh_id', models.AutoField(primary_key=True, serialize=False)),
                ('pgh_created_at', models.DateTimeField(auto_now_add=True)),
                ('pgh_label', models.TextField(help_text='The event label.')),
                ('id', models.BigIntegerField()),
                ('at', models.DateTimeField()),
                ('by', models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', related_query_name='+', to=settings.AUTH_USER_MODEL)),
                ('call', models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', related_query_name='+', to='surveys.callindex')),
                ('pgh_context', models.ForeignKey(db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='pghistory.context')),
                ('pgh_obj', models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='events', to='surveys.confirmation')),
                ('recording', models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', related_query_name='+', to='surveys.recording')),
            ],
            options={
                'abstract': False,
            },
        ),
        AddTrigger(
            model_name='confirmation',
            trigger=pgtrigger.compiler.Trigger(name='insert_insert', sql=pgtrigger.compiler.UpsertTriggerSql(func='INSERT INTO "surveys_confirmationevent" ("at", "by_id", "call_id", "id", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "recording_id") VALUES (NEW."at", NEW."by_id", NEW."call_id", NEW."id", _pgh_attach_context(), NOW(), \'insert\', NEW."id", NEW."recording_id"); RETURN NULL;', hash='0c1deac6a1e05450a887007c17ffa37d33e569a8', operation='INSERT', pgid='pgtrigger_insert_insert_2fefc', table='surveys_confirmation', when='AFTER')),
        ),
        AddTrigger(
            model_name='confirmation',
            trigger=pgtrigger.compiler.Trigger(name='update_update', sql=pgtrigger.compiler.UpsertTriggerSql(condition='WHEN (OLD.* IS DISTINCT FROM NEW.*)', func='INSERT INTO "surveys_confirmationevent" ("at", "by_id", "call_id", "id", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "recording_id") VALUES (NEW."at", NEW."by_id", NEW."call_id", NEW."id", _pgh_attach_context(), NOW(), \'update\', NEW."id", NEW."recording_id"); RETURN NULL;', hash='d4b8808ac8de95a12bd0b88a7566cc4091fd848d', operation='UPDATE', pgid='pgtrigger_update_update_27ba4', table='surveys_confirmation', when='AFTER')),
        ),
        AddTrigger(
            model_name='confirmation',
            trigger=pgtrigger.compiler.Trigger(name='delete_delete', sql=pgtrigger.compiler.UpsertTriggerSql(func='INSERT INTO "surveys_confirmationevent" ("at", "by_id", "call_id", "id", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "recording_id") VALUES (OLD."at", OLD."by_id", OLD."call_id", OLD."id", _pgh_attach_context(), NOW(), \'delete\', OLD."id", OLD."recording_id"); RETURN NULL;', hash='d86d18c96eb078fbfee781d17125f28473ad1126', operation='DELETE', pgid='pgtrigger_delete_delete_edeaf', table='surveys_confirmation', when='AFTER')),
        ),
        migrations.RunSQL(VIEWS, DROP_VIEWS),
    ]
