"""Findings are stored as code and parameters. Those stored in words are read back into them; the
words stay where they cannot be. Events of the past keep their words."""

import pgtrigger.compiler
from django.db import migrations, models

from surveys.migrations._findings_in_words import About, CannotTellError, read
from surveys.protocol.telling import Reader, tell_sentence
from surveys.protocol.values import DistanceUnit, TemperatureUnit

from surveys.migrations._at_once import AddTrigger, RemoveTrigger

_BATCH = 2000


def read_words(apps, schema_editor):
    finding_model = apps.get_model("surveys", "StoredFinding")
    batch = []
    findings = finding_model.objects.select_related("visit__route__program", "stop", "species")
    for finding in findings.iterator(_BATCH):
        about = About(
            code=finding.code,
            stop=finding.stop.number if finding.stop else None,
            field=finding.field,
            species=finding.species.code if finding.species else None,
            night=finding.visit.night,
            time_zone=finding.visit.route.program.time_zone,
        )
        try:
            finding.variant, finding.params = read(finding.message_as_stored, about)
        except CannotTellError:
            continue
        finding.message_as_stored = finding.remedy_as_stored = ""
        batch.append(finding)
        if len(batch) == _BATCH:
            _save(finding_model, batch)
            batch = []
    _save(finding_model, batch)


def _save(finding_model, batch):
    fields = ["variant", "params", "message_as_stored", "remedy_as_stored"]
    finding_model.objects.bulk_update(batch, fields)


def say_words(apps, schema_editor):
    """In the English of today."""
    finding_model = apps.get_model("surveys", "StoredFinding")
    findings = finding_model.objects.select_related("visit__route__program", "species")
    for finding in findings.filter(message_as_stored="").iterator(_BATCH):
        program = finding.visit.route.program
        names = {finding.species.code: finding.species.common_name} if finding.species else {}
        reader = Reader(
            time_zone=program.time_zone,
            temperature_unit=TemperatureUnit(program.temperature_unit),
            distance_unit=DistanceUnit(program.distance_unit),
            species=names,
        )
        told = tell_sentence(finding.code, finding.variant, finding.params, reader)
        finding.message_as_stored, finding.remedy_as_stored = told.message, told.remedy
        finding.save(update_fields=["message_as_stored", "remedy_as_stored"])


class Migration(migrations.Migration):

    dependencies = [
        ('surveys', '0001_initial'),
    ]

    operations = [
        RemoveTrigger(
            model_name='storedfinding',
            name='insert_insert',
        ),
        RemoveTrigger(
            model_name='storedfinding',
            name='update_update',
        ),
        RemoveTrigger(
            model_name='storedfinding',
            name='delete_delete',
        ),
        migrations.RenameField(
            model_name='storedfinding',
            old_name='remedy',
            new_name='remedy_as_stored',
        ),
        migrations.RenameField(
            model_name='storedfindingevent',
            old_name='remedy',
            new_name='remedy_as_stored',
        ),
        migrations.RenameField(
            model_name='storedfinding',
            old_name='message',
            new_name='message_as_stored',
        ),
        migrations.AlterField(
            model_name='storedfinding',
            name='message_as_stored',
            field=models.TextField(blank=True),
        ),
        migrations.RenameField(
            model_name='storedfindingevent',
            old_name='message',
            new_name='message_as_stored',
        ),
        migrations.AlterField(
            model_name='storedfindingevent',
            name='message_as_stored',
            field=models.TextField(blank=True),
        ),
        migrations.AddField(
            model_name='species',
            name='names',
            field=models.JSONField(blank=True, default=dict),
        ),
        migrations.AddField(
            model_name='storedfinding',
            name='params',
            field=models.JSONField(blank=True, default=dict),
        ),
        migrations.AddField(
            model_name='storedfinding',
            name='variant',
            field=models.CharField(blank=True, max_length=60),
        ),
        migrations.AddField(
            model_name='storedfindingevent',
            name='params',
            field=models.JSONField(blank=True, default=dict),
        ),
        migrations.AddField(
            model_name='storedfindingevent',
            name='variant',
            field=models.CharField(blank=True, max_length=60),
        ),
        migrations.RunPython(read_words, say_words),
        AddTrigger(
            model_name='storedfinding',
            trigger=pgtrigger.compiler.Trigger(name='insert_insert', sql=pgtrigger.compiler.UpsertTriggerSql(func='INSERT INTO "surveys_storedfindingevent" ("code", "field", "id", "message_as_stored", "params", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "reason", "remedy_as_stored", "settled_at", "settled_by_id", "settlement", "severity", "species_id", "stop_id", "variant", "visit_id") VALUES (NEW."code", NEW."field", NEW."id", NEW."message_as_stored", NEW."params", _pgh_attach_context(), NOW(), \'insert\', NEW."id", NEW."reason", NEW."remedy_as_stored", NEW."settled_at", NEW."settled_by_id", NEW."settlement", NEW."severity", NEW."species_id", NEW."stop_id", NEW."variant", NEW."visit_id"); RETURN NULL;', hash='b564b080b27a80cc09c5b57885eda279b16e6450', operation='INSERT', pgid='pgtrigger_insert_insert_bead2', table='surveys_storedfinding', when='AFTER')),
        ),
        AddTrigger(
            model_name='storedfinding',
            trigger=pgtrigger.compiler.Trigger(name='update_update', sql=pgtrigger.compiler.UpsertTriggerSql(condition='WHEN (OLD.* IS DISTINCT FROM NEW.*)', func='INSERT INTO "surveys_storedfindingevent" ("code", "field", "id", "message_as_stored", "params", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "reason", "remedy_as_stored", "settled_at", "settled_by_id", "settlement", "severity", "species_id", "stop_id", "variant", "visit_id") VALUES (NEW."code", NEW."field", NEW."id", NEW."message_as_stored", NEW."params", _pgh_attach_context(), NOW(), \'update\', NEW."id", NEW."reason", NEW."remedy_as_stored", NEW."settled_at", NEW."settled_by_id", NEW."settlement", NEW."severity", NEW."species_id", NEW."stop_id", NEW."variant", NEW."visit_id"); RETURN NULL;', hash='0eb00a5c4350deb1e772f15865458b00fde732a9', operation='UPDATE', pgid='pgtrigger_update_update_e49b7', table='surveys_storedfinding', when='AFTER')),
        ),
        AddTrigger(
            model_name='storedfinding',
            trigger=pgtrigger.compiler.Trigger(name='delete_delete', sql=pgtrigger.compiler.UpsertTriggerSql(func='INSERT INTO "surveys_storedfindingevent" ("code", "field", "id", "message_as_stored", "params", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "reason", "remedy_as_stored", "settled_at", "settled_by_id", "settlement", "severity", "species_id", "stop_id", "variant", "visit_id") VALUES (OLD."code", OLD."field", OLD."id", OLD."message_as_stored", OLD."params", _pgh_attach_context(), NOW(), \'delete\', OLD."id", OLD."reason", OLD."remedy_as_stored", OLD."settled_at", OLD."settled_by_id", OLD."settlement", OLD."severity", OLD."species_id", OLD."stop_id", OLD."variant", OLD."visit_id"); RETURN NULL;', hash='84f6139b77ca11c9df366cf446cafcfca126911e', operation='DELETE', pgid='pgtrigger_delete_delete_fb33a', table='surveys_storedfinding', when='AFTER')),
        ),
    ]
