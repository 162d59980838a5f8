import django.contrib.postgres.fields
import django.core.validators
import django.db.models.deletion
import pgtrigger.compiler
from django.db import migrations, models

from surveys.migrations._at_once import AddTrigger, RemoveTrigger


class Migration(migrations.Migration):

    dependencies = [
        ('surveys', '0006_words_of_choices_in_review'),
    ]

    operations = [
        migrations.CreateModel(
            name='CallingRegion',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('code', models.SlugField(max_length=40, unique=True)),
                ('name', models.CharField(max_length=80)),
                ('order', models.PositiveSmallIntegerField(default=0)),
            ],
            options={
                'ordering': ['order', 'pk'],
            },
        ),
        migrations.CreateModel(
            name='LookAlikes',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('code', models.SlugField(max_length=40, unique=True)),
                ('name', models.CharField(max_length=80)),
                ('other_sounds', django.contrib.postgres.fields.ArrayField(base_field=models.CharField(max_length=80), blank=True, default=list, size=None)),
                ('how', models.TextField()),
                ('order', models.PositiveSmallIntegerField(default=0)),
            ],
            options={
                'verbose_name_plural': 'look-alikes',
                'ordering': ['order', 'pk'],
            },
        ),
        migrations.CreateModel(
            name='SpeciesInRegion',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('calls_from_month', models.PositiveSmallIntegerField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(1), django.core.validators.MaxValueValidator(12)])),
                ('calls_from_day', models.PositiveSmallIntegerField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(1), django.core.validators.MaxValueValidator(31)])),
                ('calls_to_month', models.PositiveSmallIntegerField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(1), django.core.validators.MaxValueValidator(12)])),
                ('calls_to_day', models.PositiveSmallIntegerField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(1), django.core.validators.MaxValueValidator(31)])),
                ('mark', models.CharField(blank=True, choices=[('sure', 'sure'), ('fairly sure', 'fairly sure'), ('unsure', 'unsure')], max_length=12)),
                ('is_introduced', models.BooleanField(default=False)),
            ],
            options={
                'ordering': ['region', 'species'],
            },
        ),
        RemoveTrigger(
            model_name='program',
            name='insert_insert',
        ),
        RemoveTrigger(
            model_name='program',
            name='update_update',
        ),
        RemoveTrigger(
            model_name='program',
            name='delete_delete',
        ),
        migrations.RemoveConstraint(
            model_name='checklistentry',
            name='checklist_season_exists',
        ),
        migrations.AddField(
            model_name='species',
            name='is_silent',
            field=models.BooleanField(default=False),
        ),
        migrations.AddField(
            model_name='species',
            name='note',
            field=models.CharField(blank=True, max_length=200),
        ),
        AddTrigger(
            model_name='program',
            trigger=pgtrigger.compiler.Trigger(name='insert_insert', sql=pgtrigger.compiler.UpsertTriggerSql(func='INSERT INTO "surveys_programevent" ("calling_region_id", "contact_email", "country_code", "created_at", "data_license", "distance_unit", "id", "local_rules", "name", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "place_sharing", "pseudonym_key", "publication_audience", "publication_key", "region", "slug", "temperature_unit", "time_zone") VALUES (NEW."calling_region_id", NEW."contact_email", NEW."country_code", NEW."created_at", NEW."data_license", NEW."distance_unit", NEW."id", NEW."local_rules", NEW."name", _pgh_attach_context(), NOW(), \'insert\', NEW."id", NEW."place_sharing", NEW."pseudonym_key", NEW."publication_audience", NEW."publication_key", NEW."region", NEW."slug", NEW."temperature_unit", NEW."time_zone"); RETURN NULL;', hash='56299322d64490f80181b36c4621c7cd193f25c9', operation='INSERT', pgid='pgtrigger_insert_insert_93970', table='surveys_program', when='AFTER')),
        ),
        AddTrigger(
            model_name='program',
            trigger=pgtrigger.compiler.Trigger(name='update_update', sql=pgtrigger.compiler.UpsertTriggerSql(condition='WHEN (OLD.* IS DISTINCT FROM NEW.*)', func='INSERT INTO "surveys_programevent" ("calling_region_id", "contact_email", "country_code", "created_at", "data_license", "distance_unit", "id", "local_rules", "name", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "place_sharing", "pseudonym_key", "publication_audience", "publication_key", "region", "slug", "temperature_unit", "time_zone") VALUES (NEW."calling_region_id", NEW."contact_email", NEW."country_code", NEW."created_at", NEW."data_license", NEW."distance_unit", NEW."id", NEW."local_rules", NEW."name", _pgh_attach_context(), NOW(), \'update\', NEW."id", NEW."place_sharing", NEW."pseudonym_key", NEW."publication_audience", NEW."publication_key", NEW."region", NEW."slug", NEW."temperature_unit", NEW."time_zone"); RETURN NULL;', hash='248900c96f476b335f64188021fa44feaa5a3034', operation='UPDATE', pgid='pgtrigger_update_update_54aea', table='surveys_program', when='AFTER')),
        ),
        AddTrigger(
            model_name='program',
            trigger=pgtrigger.compiler.Trigger(name='delete_delete', sql=pgtrigger.compiler.UpsertTriggerSql(func='INSERT INTO "surveys_programevent" ("calling_region_id", "contact_email", "country_code", "created_at", "data_license", "distance_unit", "id", "local_rules", "name", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "place_sharing", "pseudonym_key", "publication_audience", "publication_key", "region", "slug", "temperature_unit", "time_zone") VALUES (OLD."calling_region_id", OLD."contact_email", OLD."country_code", OLD."created_at", OLD."data_license", OLD."distance_unit", OLD."id", OLD."local_rules", OLD."name", _pgh_attach_context(), NOW(), \'delete\', OLD."id", OLD."place_sharing", OLD."pseudonym_key", OLD."publication_audience", OLD."publication_key", OLD."region", OLD."slug", OLD."temperature_unit", OLD."time_zone"); RETURN NULL;', hash='a5e368ec00d02e92e7f1223ea1a873c8722eadd3', operation='DELETE', pgid='pgtrigger_delete_delete_bdf32', table='surveys_program', when='AFTER')),
        ),
        migrations.AddConstraint(
            model_name='checklistentry',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('calls_from_day__isnull', True), ('calls_from_month__isnull', True), ('calls_to_day__isnull', True), ('calls_to_month__isnull', True)), models.Q(('calls_from_day__isnull', False), ('calls_from_month__isnull', False), ('calls_to_day__isnull', False), ('calls_to_month__isnull', False), models.Q(models.Q(('calls_from_day__range', (1, 31)), ('calls_from_month__in', [1, 3, 5, 7, 8, 10, 12])), models.Q(('calls_from_day__range', (1, 30)), ('calls_from_month__in', [4, 6, 9, 11])), models.Q(('calls_from_day__range', (1, 29)), ('calls_from_month', 2)), _connector='OR'), models.Q(models.Q(('calls_to_day__range', (1, 31)), ('calls_to_month__in', [1, 3, 5, 7, 8, 10, 12])), models.Q(('calls_to_day__range', (1, 30)), ('calls_to_month__in', [4, 6, 9, 11])), models.Q(('calls_to_day__range', (1, 29)), ('calls_to_month', 2)), _connector='OR')), _connector='OR'), name='checklist_season_exists'),
        ),
        migrations.AddField(
            model_name='program',
            name='calling_region',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='programs', to='surveys.callingregion'),
        ),
        migrations.AddField(
            model_name='programevent',
            name='calling_region',
            field=models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', related_query_name='+', to='surveys.callingregion'),
        ),
        migrations.AddField(
            model_name='lookalikes',
            name='members',
            field=models.ManyToManyField(related_name='look_alikes', to='surveys.species'),
        ),
        migrations.AddField(
            model_name='speciesinregion',
            name='region',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='species', to='surveys.callingregion'),
        ),
        migrations.AddField(
            model_name='speciesinregion',
            name='species',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='in_regions', to='surveys.species'),
        ),
        migrations.AddConstraint(
            model_name='speciesinregion',
            constraint=models.UniqueConstraint(fields=('species', 'region'), name='species_once_in_region'),
        ),
        migrations.AddConstraint(
            model_name='speciesinregion',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('calls_from_day__isnull', True), ('calls_from_month__isnull', True), ('calls_to_day__isnull', True), ('calls_to_month__isnull', True)), models.Q(('calls_from_day__isnull', False), ('calls_from_month__isnull', False), ('calls_to_day__isnull', False), ('calls_to_month__isnull', False), models.Q(models.Q(('calls_from_day__range', (1, 31)), ('calls_from_month__in', [1, 3, 5, 7, 8, 10, 12])), models.Q(('calls_from_day__range', (1, 30)), ('calls_from_month__in', [4, 6, 9, 11])), models.Q(('calls_from_day__range', (1, 29)), ('calls_from_month', 2)), _connector='OR'), models.Q(models.Q(('calls_to_day__range', (1, 31)), ('calls_to_month__in', [1, 3, 5, 7, 8, 10, 12])), models.Q(('calls_to_day__range', (1, 30)), ('calls_to_month__in', [4, 6, 9, 11])), models.Q(('calls_to_day__range', (1, 29)), ('calls_to_month', 2)), _connector='OR')), _connector='OR'), name='species_in_region_season_exists'),
        ),
        migrations.AddConstraint(
            model_name='speciesinregion',
            constraint=models.CheckConstraint(condition=models.Q(('mark__in', ['', 'sure', 'fairly sure', 'unsure'])), name='species_in_region_mark_known'),
        ),
    ]
