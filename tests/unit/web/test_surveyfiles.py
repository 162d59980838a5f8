"""What a phone checks the files of the survey by."""

import base64
import hashlib
import shutil
from pathlib import Path

import pytest
from django.contrib.staticfiles import finders
from django.contrib.staticfiles.storage import ManifestStaticFilesStorage

from surveys.web.survey.files import (
    PICTURES,
    STYLES,
    files,
    module_url,
    modules,
)
from tests.support.for_each import for_each


@pytest.fixture(scope="module")
def collected(tmp_path_factory):
    """The files as a server gives them: collected, with checksums in their names."""
    storage = ManifestStaticFilesStorage(location=tmp_path_factory.mktemp("static"))
    paths = {}
    for path in (*STYLES, *PICTURES, *modules()):
        target = Path(storage.path(path))
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(finders.find(path), target)
        paths[path] = (storage, path)
    assert [failed for *_, failed in storage.post_process(paths) if failed is not True] == []
    return storage


@for_each("path", [*STYLES, *PICTURES, *modules()])
def test_integrity_is_that_of_the_collected_file(collected, path):
    integrity = files()[module_url(path)]
    for name in (path, collected.stored_name(path)):
        with collected.open(name) as file:
            digest = base64.b64encode(hashlib.sha256(file.read()).digest()).decode()
        assert integrity == f"sha256-{digest}"
