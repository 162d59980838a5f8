"""What tells a site of several machines from one of a single machine: deploy/machines.md."""

import os
from typing import Any

from deploy.secret_files import secret


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
