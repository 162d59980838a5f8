"""Settings of a server behind deploy/nginx/duskpool.conf: those of real use, and the key and the
plain static files of the tests."""

import os

from deploy.settings.prod import *  # noqa: F403
from deploy.settings.prod import STORAGES

SECRET_KEY = os.environ["SERVED_SECRET_KEY"]
STORAGES["staticfiles"] = {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}
