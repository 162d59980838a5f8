import pytest

from surveys.models import WorkerHeartbeat
from surveys.runs.queues import WORKERS


@pytest.fixture
def all_is_well(db, settings, tmp_path):
    """Every worker was heard, nothing waits, and files can be stored."""
    settings.MEDIA_ROOT = tmp_path
    settings.LEAST_DISK_PERCENT = 0
    settings.OPERATORS = ["ops@example.org"]
    WorkerHeartbeat.objects.all().delete()
    for name in WORKERS:
        WorkerHeartbeat.objects.create(name=name, host="here", pid=1)
