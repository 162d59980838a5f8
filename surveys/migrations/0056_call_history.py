"""The history of calls of before, in the form of `CallHistory`. Nothing writes to the old table since
0055, and no code has ever read it."""

from django.db import migrations

# A period that is gone has a history of its own.
CARRY_OVER = """
INSERT INTO surveys_callhistory (pgh_created_at, pgh_label, pgh_context_id, visit_id, calls, periods,
                                 species, indexes, not_sure, distances, counts_in_trends)
SELECT call.pgh_created_at, call.pgh_label, call.pgh_context_id, period.visit_id,
       array_agg(call.pgh_obj_id ORDER BY call.pgh_id),
       array_agg(call.period_id ORDER BY call.pgh_id),
       array_agg(call.species_id ORDER BY call.pgh_id),
       array_agg(call."index" ORDER BY call.pgh_id),
       array_agg(call.not_sure ORDER BY call.pgh_id),
       array_agg(call.distance ORDER BY call.pgh_id),
       array_agg(call.counts_in_trends ORDER BY call.pgh_id)
FROM surveys_callindexevent AS call
LEFT JOIN (
    SELECT DISTINCT pgh_obj_id, visit_id FROM surveys_listeningperiodevent
) AS period ON period.pgh_obj_id = call.period_id
GROUP BY call.pgh_created_at, call.pgh_label, call.pgh_context_id, period.visit_id
ORDER BY min(call.pgh_id)
"""


class Migration(migrations.Migration):

    dependencies = [
        ('surveys', '0055_less_history'),
    ]

    operations = [
        migrations.RunSQL(CARRY_OVER, migrations.RunSQL.noop),
        migrations.DeleteModel(name='CallIndexEvent'),
    ]
