"""Settings for the test suite."""

import datetime as dt
import os
import tempfile
import uuid
from pathlib import Path

from deploy.settings.common import *  # noqa: F403
from deploy.settings.common import DATABASES
from deploy.settings.common import MIDDLEWARE as COMMON_MIDDLEWARE

DEBUG = False
# Tests of the second step turn it on; all others sign in coordinators without one.
SECOND_FACTOR_REQUIRED = False
MFA_WEBAUTHN_ALLOW_INSECURE_ORIGIN = True
SECRET_KEY = "only-for-tests"  # noqa: S105
ALLOWED_HOSTS = ["*"]
# The live server of the tests serves static files from the source folders.
MIDDLEWARE = [name for name in COMMON_MIDDLEWARE if "whitenoise" not in name]
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.InMemoryStorage"},
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}
# Files of one process are out of reach of every other; a test that writes some names a folder.
MEDIA_ROOT = Path(tempfile.gettempdir()) / f"duskpool-test-media-{uuid.uuid4()}"
DATABASES["default"]["CONN_MAX_AGE"] = 0
# Beginning of the names of the databases that the runs make: tests/support/databases.py.
DATABASES["default"]["TEST"] = {
    "NAME": "test_duskpool_" + os.environ.get("TEST_DB_SUFFIX", "main"),
}
SECURITY_CONTACTS = ["security@surveys.example", "https://surveys.example/report"]
SECURITY_EXPIRES = dt.datetime.now(dt.UTC) + dt.timedelta(days=90)
BACKUP_HOURS = 0
# Signing in is rate limited; the tests sign in more often than any person.
ACCOUNT_RATE_LIMITS = False
