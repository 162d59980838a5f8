from django.db import migrations, models


class Migration(migrations.Migration):
    """Emails about who surveys which route can be stopped, as other kinds can."""

    dependencies = [("surveys", "0046_program_area")]

    operations = [
        migrations.AlterField(
            model_name="reminderstop",
            name="kind",
            field=models.CharField(
                choices=[
                    ("opens", "A survey window opens"),
                    ("half_gone", "Half of a window is over without a visit"),
                    ("closes_soon", "A window closes within 7 days without a visit"),
                    ("sent_back", "A visit was sent back a week ago"),
                    ("not_submitted", "A night is not submitted after three days"),
                    ("letters", "Emails from the coordinators to a group"),
                    ("plan", "Emails about who surveys which route"),
                ],
                max_length=13,
            ),
        )
    ]
