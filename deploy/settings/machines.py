"""What tells a site of several machines from one of a single machine: deploy/machines.md."""

import os
from typing import Any
from urllib.parse import urlsplit

import dj_database_url
from django.core.exceptions import ImproperlyConfigured

from deploy.secret_files import secret

# Set by deploy/gunicorn.conf.py.
PAGES = "DUSKPOOL_ANSWERS_PAGES"


def database() -> dict[str, Any]:
    """Where this process reads and writes. Pages may do so through a pool that lends a connection
    for a transaction, such as pgbouncer; workers, which wait for notices, and commands may not."""
    pool = os.environ.get("DUSKPOOL_POOL_URL", "") if PAGES in os.environ else ""
    found = dj_database_url.parse(
        pool or os.environ["DATABASE_URL"],
        conn_max_age=60,
        conn_health_checks=True,
        # A cursor outside of a transaction would be looked for at another connection.
        disable_server_side_cursors=bool(pool),
    )
    return dict(found)


def replica() -> dict[str, Any]:
    """A second database that only answers reads, as a part of DATABASES: surveys/replica.py."""
    url = os.environ.get("DUSKPOOL_REPLICA_URL", "")
    if not url:
        return {}
    return {"replica": dict(dj_database_url.parse(url, conn_max_age=60, conn_health_checks=True))}


def object_storage() -> dict[str, Any]:
    """The bucket of uploaded files, as an entry of STORAGES."""
    return {
        "BACKEND": "surveys.visits.media.object_storage.ObjectStorage",
        "OPTIONS": {
            "bucket": os.environ["DUSKPOOL_BUCKET"],
            "endpoint": os.environ.get("DUSKPOOL_BUCKET_ENDPOINT", ""),
            "region": os.environ.get("DUSKPOOL_BUCKET_REGION", ""),
            "key": os.environ.get("DUSKPOOL_BUCKET_KEY", ""),
            "secret": secret("DUSKPOOL_BUCKET_SECRET"),
        },
    }


# What pages load of static files: scripts and modules, styles, pictures and fonts.
_STATIC_DIRECTIVES = ("script-src", "style-src", "img-src", "font-src")


def static_host(policy: dict[str, list[str]]) -> str:
    """The address of static files on another host, which the directives of `policy` then allow.

    Raises ImproperlyConfigured."""
    url = os.environ["DUSKPOOL_STATIC_URL"]
    parts = urlsplit(url)
    if parts.scheme != "https" or not parts.netloc or not url.endswith("/") or parts.query:
        raise ImproperlyConfigured(
            f'DUSKPOOL_STATIC_URL is "{url}": it has to begin with https:// and end with a slash, '
            "such as https://static.example.org/static/."
        )
    for name in _STATIC_DIRECTIVES:
        policy[name].append(f"https://{parts.netloc}")
    return url
