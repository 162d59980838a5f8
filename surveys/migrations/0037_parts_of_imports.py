"""What was read from an uploaded file is kept in parts until it is imported."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('surveys', '0036_fewer_indexes_of_calls'),
    ]

    operations = [
        migrations.CreateModel(
            name='ImportPart',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('number', models.PositiveSmallIntegerField()),
                ('packed', models.BinaryField()),
                ('upload', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='parts', to='surveys.spreadsheetimport')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('upload', 'number'), name='import_part_once')],
            },
        ),
    ]
