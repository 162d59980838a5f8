"""Settings of a server that a test starts as a process of its own: as in real use, without TLS."""

import os

from deploy.settings.common import *  # noqa: F403

DEBUG = False
SECRET_KEY = os.environ["SERVED_SECRET_KEY"]
ALLOWED_HOSTS = ["127.0.0.1", "localhost"]
STATIC_ROOT = os.environ["SERVED_STATIC_ROOT"]
MEDIA_ROOT = os.environ["SERVED_MEDIA_ROOT"]
