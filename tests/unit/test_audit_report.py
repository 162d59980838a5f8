"""What an operator is told of an audit of the packages. The entries are those of pip-audit 2.10,
its documentation, "JSON"."""

import pytest

from deploy.lib.audit_report import report

CLEAN = {"name": "django", "version": "5.2.1", "vulns": []}
WEAK = {
    "name": "flask",
    "version": "0.5",
    "vulns": [{"id": "PYSEC-2019-179", "fix_versions": ["1.0"], "aliases": [], "description": ""}],
}
UNASKED = {"name": "altair", "skip_reason": "Dependency not found on PyPI and could not be audited"}


@pytest.mark.parametrize(
    ("entries", "status", "words"),
    [
        ([CLEAN], 0, "1 of 1 packages were asked about; 0 have"),
        ([CLEAN, WEAK], 1, "flask 0.5: PYSEC-2019-179, mended in 1.0"),
        ([CLEAN, UNASKED], 3, "1 were not, and may have one: altair"),
        ([WEAK, UNASKED], 1, "1 of 2 packages were asked about; 1 have"),
        ([], 3, "0 of 0 packages"),
    ],
)
def test_only_what_was_asked_about_is_clean(entries, status, words):
    found, lines = report({"dependencies": entries, "fixes": []})
    assert found == status
    assert words in "\n".join(lines)
