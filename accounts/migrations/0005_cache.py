"""The table of Django's database cache, as `createcachetable` makes it."""

from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("accounts", "0004_confirmed_addresses")]
    operations = [
        migrations.RunSQL(
            """
            CREATE TABLE accounts_cache (
                cache_key varchar(255) NOT NULL PRIMARY KEY,
                value text NOT NULL,
                expires timestamp with time zone NOT NULL
            );
            CREATE INDEX accounts_cache_expires ON accounts_cache (expires);
            """,
            "DROP TABLE accounts_cache",
        )
    ]
