"""How many requests were answered, and how long that took.

gunicorn has several processes. Each counts into a file of its own in PROMETHEUS_MULTIPROC_DIR,
which deploy/gunicorn.conf.py sets, and whichever is asked for /metrics adds them up.
"""

import os

from prometheus_client import CollectorRegistry, Counter, Histogram
from prometheus_client.multiprocess import MultiProcessCollector

# Clients may send any method: each would be a series of its own.
_METHODS = frozenset({"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"})

_REQUESTS = Counter(
    "duskpool_requests", "Requests that were answered", ["method", "status"], registry=None
)
_SECONDS = Histogram(
    "duskpool_request_seconds",
    "Time to answer a request",
    buckets=(0.01, 0.03, 0.1, 0.3, 1, 3, 10, 30),
    registry=None,
)


def count_request(method: str | None, status: int, seconds: float) -> None:
    _REQUESTS.labels(method if method in _METHODS else "other", str(status)).inc()
    _SECONDS.observe(seconds)


def register_requests(registry: CollectorRegistry) -> None:
    if "PROMETHEUS_MULTIPROC_DIR" in os.environ:
        MultiProcessCollector(registry)
    else:
        registry.register(_REQUESTS)
        registry.register(_SECONDS)
