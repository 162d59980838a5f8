"""Settings of the site that is killed: as in real use, with mail into files."""

import os

from tests.support.served_settings import *  # noqa: F403
from tests.support.served_settings import STORAGES

SECOND_FACTOR_REQUIRED = False
EMAIL_BACKEND = "surveys.runs.mail_ids.FileBackend"
EMAIL_FILE_PATH = os.environ["KILLED_MAIL"]
API_REQUESTS_AN_HOUR = 1_000_000
STORAGES["staticfiles"] = {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}
