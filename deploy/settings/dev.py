"""Settings for the demo and for developing: no secret to set, mail goes to var/mail."""

from deploy.settings.common import *  # noqa: F403
from deploy.settings.common import STORAGES, VAR_DIR

DEBUG = False
# People who look at the demo sign in with a password alone; they may set up a second step.
SECOND_FACTOR_REQUIRED = False
MFA_WEBAUTHN_ALLOW_INSECURE_ORIGIN = True
SECRET_KEY = "only-for-the-demo-and-for-developing-never-for-real-data"  # noqa: S105
ALLOWED_HOSTS = ["*"]
EMAIL_BACKEND = "django.core.mail.backends.filebased.EmailBackend"
EMAIL_FILE_PATH = VAR_DIR / "mail"
# Names with checksums as in real use, but not compressed: that takes most of a first start.
STORAGES["staticfiles"] = {
    "BACKEND": "django.contrib.staticfiles.storage.ManifestStaticFilesStorage"
}
