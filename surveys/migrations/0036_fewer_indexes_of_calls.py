"""The indexes over period and species, and species and period, serve either column alone."""

import django.db.models.deletion
from django.db import migrations, models


def drop_index(field, to, on_delete, name):
    """Without keeping anybody waiting, which Django's own way does."""
    return migrations.SeparateDatabaseAndState(
        database_operations=[
            migrations.RunSQL(
                f'DROP INDEX CONCURRENTLY IF EXISTS "{name}"',
                f'CREATE INDEX CONCURRENTLY IF NOT EXISTS "{name}" '
                f'ON "surveys_callindex" ("{field}_id")',
            )
        ],
        state_operations=[
            migrations.AlterField(
                model_name='callindex',
                name=field,
                field=models.ForeignKey(
                    db_index=False, on_delete=on_delete, related_name='calls', to=to
                ),
            )
        ],
    )


class Migration(migrations.Migration):
    atomic = False

    dependencies = [
        ('surveys', '0035_season_plan'),
    ]

    operations = [
        drop_index('period', 'surveys.listeningperiod', django.db.models.deletion.CASCADE,
                   'surveys_callindex_period_id_2798142d'),
        drop_index('species', 'surveys.species', django.db.models.deletion.PROTECT,
                   'surveys_callindex_species_id_54d30758'),
    ]
