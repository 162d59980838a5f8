"""The files that `deploy/generate` writes are those that it would write now."""

import pytest

from tests.support.generated_files import FILES


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_a_file_that_follows_from_others_was_written_again(path):
    is_current = path.read_text("utf-8") == FILES[path]()
    assert is_current, "stale: run deploy/generate and read what it changed"
