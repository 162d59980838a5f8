"""Addresses mean something only when confirmed, and a person has one."""

from django.db import migrations


def keep_one_address(apps, schema_editor):
    """The address of an account came by invitation and stays. Others that were added to it, and
    could reset its password, go."""
    Person = apps.get_model("accounts", "Person")
    EmailAddress = apps.get_model("account", "EmailAddress")
    EmailAddress.objects.all().delete()
    EmailAddress.objects.bulk_create(
        EmailAddress(user_id=pk, email=email.lower(), verified=True, primary=True)
        for pk, email in Person.objects.values_list("pk", "email")
    )


class Migration(migrations.Migration):
    dependencies = [
        ("accounts", "0003_words_of_rights"),
        ("account", "0009_emailaddress_unique_primary_email"),
    ]
    operations = [migrations.RunPython(keep_one_address, migrations.RunPython.noop)]
