"""History has noted the addresses of requests; keys in them may still open something."""

from django.db import migrations

# As `surveys/web/keys.py` hides them from now on.
HIDE_KEYS = r"""
UPDATE pghistory_context
SET metadata = jsonb_set(metadata, '{url}', to_jsonb(
    regexp_replace(metadata ->> 'url', key.pattern, '\1…')
))
FROM (SELECT '(/invitation/|/by-link/|/accounts/confirm-email/|/accounts/password/reset/key/)[^/…]+'
      AS pattern) AS key
WHERE metadata ->> 'url' ~ key.pattern
"""


class Migration(migrations.Migration):

    dependencies = [
        ('accounts', '0007_security_log'),
        ('pghistory', '0007_auto_20250421_0444'),
    ]

    operations = [
        migrations.RunSQL(HIDE_KEYS, migrations.RunSQL.noop),
    ]
