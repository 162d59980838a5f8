"""Settings for the demo and for developing: no secret to set, mail goes to var/mail."""

import os

from django.core.exceptions import ImproperlyConfigured

from deploy.settings.common import *  # noqa: F403
from deploy.settings.common import REAL_USE, STORAGES, VAR_DIR

_for_real_use = [name for name in (*REAL_USE, "DUSKPOOL_SECRET_KEY_FILE") if os.environ.get(name)]
if _for_real_use:
    raise ImproperlyConfigured(
        f"{', '.join(_for_real_use)} is set, as for real use, but these are the settings of the "
        "demo, whose secret everybody knows. Set DJANGO_SETTINGS_MODULE=deploy.settings.prod, or "
        "unset what is meant for real use."
    )

DEBUG = False
# People who look at the demo sign in with a password alone; they may set up a second step.
SECOND_FACTOR_REQUIRED = False
MFA_WEBAUTHN_ALLOW_INSECURE_ORIGIN = True
SECRET_KEY = "only-for-the-demo-and-for-developing-never-for-real-data"  # noqa: S105
ALLOWED_HOSTS = ["*"]
BACKUP_HOURS = 0
EMAIL_BACKEND = "surveys.runs.mail_ids.FileBackend"
EMAIL_FILE_PATH = VAR_DIR / "mail"
# Names with checksums as in real use, but not compressed: that takes most of a first start.
STORAGES["staticfiles"] = {
    "BACKEND": "django.contrib.staticfiles.storage.ManifestStaticFilesStorage"
}
