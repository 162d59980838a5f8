"""Stored fits name flags, choices and models by codes, no longer in the words that are shown."""

from django.db import migrations

from surveys.trends.former_codes import with_current_codes


def write_codes(apps, schema_editor):
    fits = apps.get_model("surveys", "SpeciesFit").objects
    for fit in fits.only("pk", "result").iterator(chunk_size=50):
        fit.result = with_current_codes(fit.result)
        fit.save(update_fields=["result"])


class Migration(migrations.Migration):
    dependencies = [("surveys", "0018_operation_records")]

    operations = [migrations.RunPython(write_codes, migrations.RunPython.noop)]
