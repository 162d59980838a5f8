"""Figures for a monitor, in the text format of Prometheus. Those of this module are read when they
are asked for, so that it does not matter which process answers."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator

from django.db import connection
from prometheus_client import CollectorRegistry, generate_latest
from prometheus_client.core import GaugeMetricFamily, Metric
from prometheus_client.registry import Collector

from surveys import replica
from surveys.models import OperationKind
from surveys.operations.heartbeats import silent_workers
from surveys.operations.problems import disk_state
from surveys.operations.queue_state import QueueState, queue_states
from surveys.operations.readiness import readiness
from surveys.operations.records import latest_operation
from surveys.operations.request_metrics import register_requests
from surveys.runs.queues import WORKERS

_OF_A_QUEUE: dict[str, tuple[str, Callable[[QueueState], float]]] = {
    "waiting_jobs": ("Jobs that are due", lambda queue: queue.waiting),
    "oldest_job_seconds": (
        "How long the first job that is due has waited",
        lambda queue: queue.oldest.total_seconds(),
    ),
    "running_jobs": ("Jobs at work", lambda queue: queue.at_work),
    "longest_job_seconds": (
        "How long a job has been at work",
        lambda queue: queue.longest.total_seconds(),
    ),
    "failed_jobs": ("Jobs that failed for good in seven days", lambda queue: queue.failed),
}


class SiteCollector(Collector):
    def collect(self) -> Iterable[Metric]:
        ready = readiness()
        yield _labeled("ready", "Whether a check of /readyz is fine", "check", ready.items())
        if not ready["database"]:
            return
        silent = silent_workers()
        alive = ((name, name not in silent) for name in WORKERS)
        yield _labeled("worker_up", "Whether a worker was heard lately", "worker", alive)
        queues = queue_states()
        for name, (told, read) in _OF_A_QUEUE.items():
            values = ((queue.name, read(queue)) for queue in queues)
            yield _labeled(f"queue_{name}", told, "queue", values)
        if replica.is_set():
            yield GaugeMetricFamily(
                "duskpool_replica_up",
                "Whether the read replica answers and follows",
                value=float(replica.follower.has()),
            )
        yield from _operations()
        yield from _sizes()


def _labeled(
    name: str, told: str, label: str, values: Iterable[tuple[str, float]]
) -> GaugeMetricFamily:
    family = GaugeMetricFamily(f"duskpool_{name}", told, labels=[label])
    for key, value in values:
        family.add_metric([key], float(value))
    return family


def _operations() -> Iterator[Metric]:
    latest = [(str(kind), latest_operation(kind)) for kind in OperationKind]
    done = [(str(kind), latest_operation(kind, ok=True)) for kind in OperationKind]
    yield _labeled(
        "operation_ok",
        "Whether the latest of a kind succeeded",
        "kind",
        ((kind, record.ok) for kind, record in latest if record is not None),
    )
    yield _labeled(
        "operation_success_timestamp_seconds",
        "When the latest of a kind succeeded",
        "kind",
        ((kind, record.at.timestamp()) for kind, record in done if record is not None),
    )


def _sizes() -> Iterator[Metric]:
    try:
        disk = disk_state()
    except OSError:
        pass
    else:
        yield GaugeMetricFamily(
            "duskpool_media_free_bytes", "Free on the disk of uploaded files", value=disk.free
        )
        yield GaugeMetricFamily(
            "duskpool_media_size_bytes", "Size of the disk of uploaded files", value=disk.total
        )
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_database_size(current_database())")
        (size,) = cursor.fetchone()
    yield GaugeMetricFamily("duskpool_database_size_bytes", "Size of the database", value=size)


def metrics_text() -> bytes:
    registry = CollectorRegistry()
    registry.register(SiteCollector())
    register_requests(registry)
    return generate_latest(registry)
