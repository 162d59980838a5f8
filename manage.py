#!/usr/bin/env python
"""Run a management command of Duskpool."""

import os
import sys

from django.conf import settings
from django.core.exceptions import ImproperlyConfigured
from django.core.management import execute_from_command_line

if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings.dev")
    try:
        # Settings that refuse to be read say why; commands would only say that they were not.
        settings.INSTALLED_APPS  # noqa: B018
    except ImproperlyConfigured as error:
        sys.exit(str(error))
    execute_from_command_line(sys.argv)
