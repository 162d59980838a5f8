from django.contrib.postgres.operations import AddIndexConcurrently
from django.db import migrations, models


class Migration(migrations.Migration):
    atomic = False

    dependencies = [
        ('surveys', '0032_second_members'),
    ]

    operations = [
        AddIndexConcurrently(
            model_name='visit',
            index=models.Index(condition=models.Q(('second_member__isnull', False)), fields=['second_member', 'night'], name='visit_shared'),
        ),
    ]
