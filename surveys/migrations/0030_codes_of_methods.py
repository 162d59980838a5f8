"""Stored results name methods and kinds of intervals by codes, no longer in words."""

from django.db import migrations

from surveys.trends.former_codes import with_current_codes


def write_codes(apps, schema_editor):
    for name in ("SpeciesFit", "PowerStudy"):
        rows = apps.get_model("surveys", name).objects.filter(result__isnull=False)
        for row in rows.only("pk", "result").iterator(chunk_size=50):
            row.result = with_current_codes(row.result)
            row.save(update_fields=["result"])


class Migration(migrations.Migration):
    dependencies = [("surveys", "0029_reminders")]

    operations = [migrations.RunPython(write_codes, migrations.RunPython.noop)]
