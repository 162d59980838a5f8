"""`deploy/demo` from a fresh clone: ready with its publications, and at once the second time."""

import re
import subprocess
from pathlib import Path

import pytest

from tests.integration.test_deploy_scripts import BARE_ENVIRONMENT, PROJECT, shell

# Whole seconds that nobody has to share: what is held is the share of the first start.
SECOND_OF_FIRST = 0.25
WANTED = """
SELECT (SELECT count(*) FROM surveys_publication),
       (SELECT count(*) FROM surveys_backgroundrun WHERE state IN ('failed', 'refused')),
       (SELECT count(*) FROM procrastinate_jobs WHERE status IN ('failed', 'aborted'))
"""


def demo(clone: Path, *options: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [clone / "deploy/demo", *options],
        env=BARE_ENVIRONMENT,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=1800,
    )


def seconds(started: subprocess.CompletedProcess[str]) -> float:
    assert started.returncode == 0, started.stdout + started.stderr
    return float(re.search(r"ready in ([\d.]+) s", started.stdout)[1])


@pytest.mark.slow
def test_it_is_ready_with_its_publications(tmp_path: Path) -> None:
    clone = tmp_path / "clone"
    subprocess.run(["git", "clone", "-q", PROJECT, clone], check=True)
    try:
        first = seconds(demo(clone, "--port", "8345"))
        counted = shell(clone, f'cluster_use postgres; cluster_sql duskpool -c "{WANTED}"')
        assert counted.stdout.strip() == "2|0|0", counted.stdout + counted.stderr
        assert seconds(demo(clone)) < first * SECOND_OF_FIRST
        assert demo(clone, "--stop").returncode == 0
        assert seconds(demo(clone)) < first * SECOND_OF_FIRST
    finally:
        demo(clone, "--stop")
        shell(clone, "cluster_use postgres; cluster_remove")
