# ruff: noqa: N999 - the name gunicorn looks for
"""gunicorn on a machine with two cores; the units and the demo set the address."""

import os
import shutil
import tempfile
from importlib import import_module

from deploy.logs import logging_config

# Pages may have a pool of connections: deploy/settings/machines.py.
os.environ["DUSKPOOL_ANSWERS_PAGES"] = "1"
bind = os.environ.get("DUSKPOOL_BIND", "127.0.0.1:8000")
workers = int(os.environ.get("DUSKPOOL_WEB_PROCESSES", "2"))
threads = int(os.environ.get("DUSKPOOL_WEB_THREADS", "4"))
# Loaded once and shared by the processes; no connection is opened before they part.
preload_app = True
timeout = 60
graceful_timeout = 10
max_requests = 5000
max_requests_jitter = 500
control_socket_disable = True
# Each process counts its requests in a file there: surveys/operations/request_metrics.py.
# A process that ends leaves its counts there; a reload keeps the folder.
COUNTERS = "PROMETHEUS_MULTIPROC_DIR"
if COUNTERS not in os.environ:
    os.environ[COUNTERS] = tempfile.mkdtemp(prefix="duskpool-metrics-")
# Requests are logged by deploy/logs.py, which knows the person and hides keys.
accesslog = None
logconfig_dict = logging_config(
    as_json=os.environ.get("DJANGO_SETTINGS_MODULE", "deploy.settings.prod").endswith("prod")
)


# Workers and commands start without these.
LATE = ("surveys.pdf", "altair", "openpyxl", "scipy.optimize")


def when_ready(server: object) -> None:
    """Import every view, and what views import only when they draw or print, before the processes
    part, so that no first visitor waits for it."""
    from django.urls import get_resolver  # noqa: PLC0415 - needs the application, loaded just now

    get_resolver().url_patterns  # noqa: B018 - reading it imports them
    for name in LATE:
        import_module(name)


def on_exit(server: object) -> None:
    """In the main process only."""
    shutil.rmtree(os.environ[COUNTERS], ignore_errors=True)
