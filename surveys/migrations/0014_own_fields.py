import django.core.validators
import django.db.models.deletion
import pgtrigger.compiler
from django.db import migrations, models

from surveys.migrations._at_once import AddTrigger, RemoveTrigger


class Migration(migrations.Migration):

    dependencies = [
        ('pghistory', '0007_auto_20250421_0444'),
        ('surveys', '0013_words_of_wind'),
    ]

    operations = [
        migrations.CreateModel(
            name='OwnField',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('key', models.CharField(max_length=40, validators=[django.core.validators.RegexValidator('^[a-z][a-z0-9_]{0,39}$')])),
                ('label', models.CharField(max_length=60)),
                ('help', models.CharField(blank=True, max_length=200)),
                ('kind', models.CharField(choices=[('number', 'Number'), ('whole', 'Whole number'), ('yes_no', 'Yes or no'), ('choice', 'Choice from a list'), ('text', 'Short text')], max_length=10)),
                ('per', models.CharField(choices=[('visit', 'Once per visit'), ('stop', 'At each stop')], max_length=10)),
                ('unit', models.CharField(blank=True, max_length=20)),
                ('low', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True)),
                ('high', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True)),
                ('choices', models.JSONField(blank=True, default=list)),
                ('required_from', models.DateField(blank=True, null=True)),
                ('asked_from', models.DateField(blank=True, null=True)),
                ('asked_until', models.DateField(blank=True, null=True)),
                ('published', models.BooleanField()),
                ('order', models.PositiveSmallIntegerField(default=0)),
            ],
            options={
                'ordering': ['program', 'order', 'pk'],
            },
        ),
        migrations.CreateModel(
            name='OwnFieldEvent',
            fields=[
                ('pgh_id', models.AutoField(primary_key=True, serialize=False)),
                ('pgh_created_at', models.DateTimeField(auto_now_add=True)),
                ('pgh_label', models.TextField(help_text='The event label.')),
                ('id', models.BigIntegerField()),
                ('key', models.CharField(max_length=40, validators=[django.core.validators.RegexValidator('^[a-z][a-z0-9_]{0,39}$')])),
                ('label', models.CharField(max_length=60)),
                ('help', models.CharField(blank=True, max_length=200)),
                ('kind', models.CharField(choices=[('number', 'Number'), ('whole', 'Whole number'), ('yes_no', 'Yes or no'), ('choice', 'Choice from a list'), ('text', 'Short text')], max_length=10)),
                ('per', models.CharField(choices=[('visit', 'Once per visit'), ('stop', 'At each stop')], max_length=10)),
                ('unit', models.CharField(blank=True, max_length=20)),
                ('low', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True)),
                ('high', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True)),
                ('choices', models.JSONField(blank=True, default=list)),
                ('required_from', models.DateField(blank=True, null=True)),
                ('asked_from', models.DateField(blank=True, null=True)),
                ('asked_until', models.DateField(blank=True, null=True)),
                ('published', models.BooleanField()),
                ('order', models.PositiveSmallIntegerField(default=0)),
            ],
            options={
                'abstract': False,
            },
        ),
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
        migrations.AddField(
            model_name='listeningperiod',
            name='own_fields',
            field=models.JSONField(db_default=models.Value({}, models.JSONField()), default=dict),
        ),
        migrations.AddField(
            model_name='listeningperiodevent',
            name='own_fields',
            field=models.JSONField(db_default=models.Value({}, models.JSONField()), default=dict),
        ),
        migrations.AddField(
            model_name='visit',
            name='own_fields',
            field=models.JSONField(db_default=models.Value({}, models.JSONField()), default=dict),
        ),
        migrations.AddField(
            model_name='visitevent',
            name='own_fields',
            field=models.JSONField(db_default=models.Value({}, models.JSONField()), default=dict),
        ),
        AddTrigger(
            model_name='listeningperiod',
            trigger=pgtrigger.compiler.Trigger(name='insert_insert', sql=pgtrigger.compiler.UpsertTriggerSql(func='INSERT INTO "surveys_listeningperiodevent" ("air_temperature_c", "air_temperature_unit", "arrived_at", "beaufort", "cars", "counts_in_trends", "finished_at", "id", "interrupted", "measured_accuracy_m", "measured_at", "moonlight", "noise", "note", "own_fields", "paused_s", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "skip_reason", "sky", "started_at", "status", "stop_id", "visit_id", "water_temperature_c", "water_temperature_unit", "water_tonight") VALUES (NEW."air_temperature_c", NEW."air_temperature_unit", NEW."arrived_at", NEW."beaufort", NEW."cars", NEW."counts_in_trends", NEW."finished_at", NEW."id", NEW."interrupted", NEW."measured_accuracy_m", NEW."measured_at", NEW."moonlight", NEW."noise", NEW."note", NEW."own_fields", NEW."paused_s", _pgh_attach_context(), NOW(), \'insert\', NEW."id", NEW."skip_reason", NEW."sky", NEW."started_at", NEW."status", NEW."stop_id", NEW."visit_id", NEW."water_temperature_c", NEW."water_temperature_unit", NEW."water_tonight"); RETURN NULL;', hash='340c9d8a921711af0c7568cbd024dcc2647ac99e', operation='INSERT', pgid='pgtrigger_insert_insert_d81d3', table='surveys_listeningperiod', when='AFTER')),
        ),
        AddTrigger(
            model_name='listeningperiod',
            trigger=pgtrigger.compiler.Trigger(name='update_update', sql=pgtrigger.compiler.UpsertTriggerSql(condition='WHEN (OLD.* IS DISTINCT FROM NEW.*)', func='INSERT INTO "surveys_listeningperiodevent" ("air_temperature_c", "air_temperature_unit", "arrived_at", "beaufort", "cars", "counts_in_trends", "finished_at", "id", "interrupted", "measured_accuracy_m", "measured_at", "moonlight", "noise", "note", "own_fields", "paused_s", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "skip_reason", "sky", "started_at", "status", "stop_id", "visit_id", "water_temperature_c", "water_temperature_unit", "water_tonight") VALUES (NEW."air_temperature_c", NEW."air_temperature_unit", NEW."arrived_at", NEW."beaufort", NEW."cars", NEW."counts_in_trends", NEW."finished_at", NEW."id", NEW."interrupted", NEW."measured_accuracy_m", NEW."measured_at", NEW."moonlight", NEW."noise", NEW."note", NEW."own_fields", NEW."paused_s", _pgh_attach_context(), NOW(), \'update\', NEW."id", NEW."skip_reason", NEW."sky", NEW."started_at", NEW."status", NEW."stop_id", NEW."visit_id", NEW."water_temperature_c", NEW."water_temperature_unit", NEW."water_tonight"); RETURN NULL;', hash='d8dce9f2b1501bfe341b60d24442e53f13d1141b', operation='UPDATE', pgid='pgtrigger_update_update_0ee8a', table='surveys_listeningperiod', when='AFTER')),
        ),
        AddTrigger(
            model_name='listeningperiod',
            trigger=pgtrigger.compiler.Trigger(name='delete_delete', sql=pgtrigger.compiler.UpsertTriggerSql(func='INSERT INTO "surveys_listeningperiodevent" ("air_temperature_c", "air_temperature_unit", "arrived_at", "beaufort", "cars", "counts_in_trends", "finished_at", "id", "interrupted", "measured_accuracy_m", "measured_at", "moonlight", "noise", "note", "own_fields", "paused_s", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "skip_reason", "sky", "started_at", "status", "stop_id", "visit_id", "water_temperature_c", "water_temperature_unit", "water_tonight") VALUES (OLD."air_temperature_c", OLD."air_temperature_unit", OLD."arrived_at", OLD."beaufort", OLD."cars", OLD."counts_in_trends", OLD."finished_at", OLD."id", OLD."interrupted", OLD."measured_accuracy_m", OLD."measured_at", OLD."moonlight", OLD."noise", OLD."note", OLD."own_fields", OLD."paused_s", _pgh_attach_context(), NOW(), \'delete\', OLD."id", OLD."skip_reason", OLD."sky", OLD."started_at", OLD."status", OLD."stop_id", OLD."visit_id", OLD."water_temperature_c", OLD."water_temperature_unit", OLD."water_tonight"); RETURN NULL;', hash='f9fe28704f4570505224a37987ce3e67ec5a5727', operation='DELETE', pgid='pgtrigger_delete_delete_a7e36', table='surveys_listeningperiod', when='AFTER')),
        ),
        AddTrigger(
            model_name='visit',
            trigger=pgtrigger.compiler.Trigger(name='insert_insert', sql=pgtrigger.compiler.UpsertTriggerSql(func='INSERT INTO "surveys_visitevent" ("cells", "changed_at", "counts_in_trends", "created_at", "days_since_rain", "end_air_temperature_c", "end_air_temperature_unit", "end_beaufort", "end_sky", "id", "night", "notes", "observer_id", "own_fields", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "protocol_version_id", "rain_48h_is_trace", "rain_48h_mm", "rain_48h_unit", "revision", "route_id", "season_year", "second_observer", "source", "start_air_temperature_c", "start_air_temperature_unit", "start_beaufort", "start_sky", "state", "submitted_at", "window") VALUES (NEW."cells", NEW."changed_at", NEW."counts_in_trends", NEW."created_at", NEW."days_since_rain", NEW."end_air_temperature_c", NEW."end_air_temperature_unit", NEW."end_beaufort", NEW."end_sky", NEW."id", NEW."night", NEW."notes", NEW."observer_id", NEW."own_fields", _pgh_attach_context(), NOW(), \'insert\', NEW."id", NEW."protocol_version_id", NEW."rain_48h_is_trace", NEW."rain_48h_mm", NEW."rain_48h_unit", NEW."revision", NEW."route_id", NEW."season_year", NEW."second_observer", NEW."source", NEW."start_air_temperature_c", NEW."start_air_temperature_unit", NEW."start_beaufort", NEW."start_sky", NEW."state", NEW."submitted_at", NEW."window"); RETURN NULL;', hash='0cff9751f6febbbeab90056c16d6b19dd7a00369', operation='INSERT', pgid='pgtrigger_insert_insert_a3e89', table='surveys_visit', when='AFTER')),
        ),
        AddTrigger(
            model_name='visit',
            trigger=pgtrigger.compiler.Trigger(name='update_update', sql=pgtrigger.compiler.UpsertTriggerSql(condition='WHEN (OLD.* IS DISTINCT FROM NEW.*)', func='INSERT INTO "surveys_visitevent" ("cells", "changed_at", "counts_in_trends", "created_at", "days_since_rain", "end_air_temperature_c", "end_air_temperature_unit", "end_beaufort", "end_sky", "id", "night", "notes", "observer_id", "own_fields", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "protocol_version_id", "rain_48h_is_trace", "rain_48h_mm", "rain_48h_unit", "revision", "route_id", "season_year", "second_observer", "source", "start_air_temperature_c", "start_air_temperature_unit", "start_beaufort", "start_sky", "state", "submitted_at", "window") VALUES (NEW."cells", NEW."changed_at", NEW."counts_in_trends", NEW."created_at", NEW."days_since_rain", NEW."end_air_temperature_c", NEW."end_air_temperature_unit", NEW."end_beaufort", NEW."end_sky", NEW."id", NEW."night", NEW."notes", NEW."observer_id", NEW."own_fields", _pgh_attach_context(), NOW(), \'update\', NEW."id", NEW."protocol_version_id", NEW."rain_48h_is_trace", NEW."rain_48h_mm", NEW."rain_48h_unit", NEW."revision", NEW."route_id", NEW."season_year", NEW."second_observer", NEW."source", NEW."start_air_temperature_c", NEW."start_air_temperature_unit", NEW."start_beaufort", NEW."start_sky", NEW."state", NEW."submitted_at", NEW."window"); RETURN NULL;', hash='66e73bfec173b58d5c1e60097d4b519b26815aad', operation='UPDATE', pgid='pgtrigger_update_update_2577a', table='surveys_visit', when='AFTER')),
        ),
        AddTrigger(
            model_name='visit',
            trigger=pgtrigger.compiler.Trigger(name='delete_delete', sql=pgtrigger.compiler.UpsertTriggerSql(func='INSERT INTO "surveys_visitevent" ("cells", "changed_at", "counts_in_trends", "created_at", "days_since_rain", "end_air_temperature_c", "end_air_temperature_unit", "end_beaufort", "end_sky", "id", "night", "notes", "observer_id", "own_fields", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "protocol_version_id", "rain_48h_is_trace", "rain_48h_mm", "rain_48h_unit", "revision", "route_id", "season_year", "second_observer", "source", "start_air_temperature_c", "start_air_temperature_unit", "start_beaufort", "start_sky", "state", "submitted_at", "window") VALUES (OLD."cells", OLD."changed_at", OLD."counts_in_trends", OLD."created_at", OLD."days_since_rain", OLD."end_air_temperature_c", OLD."end_air_temperature_unit", OLD."end_beaufort", OLD."end_sky", OLD."id", OLD."night", OLD."notes", OLD."observer_id", OLD."own_fields", _pgh_attach_context(), NOW(), \'delete\', OLD."id", OLD."protocol_version_id", OLD."rain_48h_is_trace", OLD."rain_48h_mm", OLD."rain_48h_unit", OLD."revision", OLD."route_id", OLD."season_year", OLD."second_observer", OLD."source", OLD."start_air_temperature_c", OLD."start_air_temperature_unit", OLD."start_beaufort", OLD."start_sky", OLD."state", OLD."submitted_at", OLD."window"); RETURN NULL;', hash='b7b190828e7afe53ad816647d42cde9776ee3110', operation='DELETE', pgid='pgtrigger_delete_delete_102dc', table='surveys_visit', when='AFTER')),
        ),
        migrations.AddField(
            model_name='ownfield',
            name='program',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='own_fields', to='surveys.program'),
        ),
        migrations.AddField(
            model_name='ownfieldevent',
            name='pgh_context',
            field=models.ForeignKey(db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='pghistory.context'),
        ),
        migrations.AddField(
            model_name='ownfieldevent',
            name='pgh_obj',
            field=models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='events', to='surveys.ownfield'),
        ),
        migrations.AddField(
            model_name='ownfieldevent',
            name='program',
            field=models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', related_query_name='+', to='surveys.program'),
        ),
        migrations.AddConstraint(
            model_name='ownfield',
            constraint=models.UniqueConstraint(fields=('program', 'key'), name='ownfield_key_once'),
        ),
        migrations.AddConstraint(
            model_name='ownfield',
            constraint=models.CheckConstraint(condition=models.Q(('key__regex', '^[a-z][a-z0-9_]{0,39}$')), name='ownfield_key'),
        ),
        migrations.AddConstraint(
            model_name='ownfield',
            constraint=models.CheckConstraint(condition=models.Q(('kind__in', ['number', 'whole', 'yes_no', 'choice', 'text'])), name='ownfield_kind'),
        ),
        migrations.AddConstraint(
            model_name='ownfield',
            constraint=models.CheckConstraint(condition=models.Q(('per__in', ['visit', 'stop'])), name='ownfield_per'),
        ),
        migrations.AddConstraint(
            model_name='ownfield',
            constraint=models.CheckConstraint(condition=models.Q(('low__isnull', True), ('high__isnull', True), ('high__gte', models.F('low')), _connector='OR'), name='ownfield_range'),
        ),
        migrations.AddConstraint(
            model_name='ownfield',
            constraint=models.CheckConstraint(condition=models.Q(('asked_from__isnull', True), ('asked_until__isnull', True), ('asked_until__gte', models.F('asked_from')), _connector='OR'), name='ownfield_asked_order'),
        ),
        AddTrigger(
            model_name='ownfield',
            trigger=pgtrigger.compiler.Trigger(name='insert_insert', sql=pgtrigger.compiler.UpsertTriggerSql(func='INSERT INTO "surveys_ownfieldevent" ("asked_from", "asked_until", "choices", "help", "high", "id", "key", "kind", "label", "low", "order", "per", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "program_id", "published", "required_from", "unit") VALUES (NEW."asked_from", NEW."asked_until", NEW."choices", NEW."help", NEW."high", NEW."id", NEW."key", NEW."kind", NEW."label", NEW."low", NEW."order", NEW."per", _pgh_attach_context(), NOW(), \'insert\', NEW."id", NEW."program_id", NEW."published", NEW."required_from", NEW."unit"); RETURN NULL;', hash='ac164eefa68c2fe9c844b0e3a805fbe2df36c7b5', operation='INSERT', pgid='pgtrigger_insert_insert_1e6cc', table='surveys_ownfield', when='AFTER')),
        ),
        AddTrigger(
            model_name='ownfield',
            trigger=pgtrigger.compiler.Trigger(name='update_update', sql=pgtrigger.compiler.UpsertTriggerSql(condition='WHEN (OLD.* IS DISTINCT FROM NEW.*)', func='INSERT INTO "surveys_ownfieldevent" ("asked_from", "asked_until", "choices", "help", "high", "id", "key", "kind", "label", "low", "order", "per", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "program_id", "published", "required_from", "unit") VALUES (NEW."asked_from", NEW."asked_until", NEW."choices", NEW."help", NEW."high", NEW."id", NEW."key", NEW."kind", NEW."label", NEW."low", NEW."order", NEW."per", _pgh_attach_context(), NOW(), \'update\', NEW."id", NEW."program_id", NEW."published", NEW."required_from", NEW."unit"); RETURN NULL;', hash='74aef1632e61c54433f7906b425e1af96c66e5c6', operation='UPDATE', pgid='pgtrigger_update_update_0ec10', table='surveys_ownfield', when='AFTER')),
        ),
        AddTrigger(
            model_name='ownfield',
            trigger=pgtrigger.compiler.Trigger(name='delete_delete', sql=pgtrigger.compiler.UpsertTriggerSql(func='INSERT INTO "surveys_ownfieldevent" ("asked_from", "asked_until", "choices", "help", "high", "id", "key", "kind", "label", "low", "order", "per", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "program_id", "published", "required_from", "unit") VALUES (OLD."asked_from", OLD."asked_until", OLD."choices", OLD."help", OLD."high", OLD."id", OLD."key", OLD."kind", OLD."label", OLD."low", OLD."order", OLD."per", _pgh_attach_context(), NOW(), \'delete\', OLD."id", OLD."program_id", OLD."published", OLD."required_from", OLD."unit"); RETURN NULL;', hash='ed161b18045923816b0d883b2fc8c686d238a93f', operation='DELETE', pgid='pgtrigger_delete_delete_e5408', table='surveys_ownfield', when='AFTER')),
        ),
    ]
