"""Say what pip-audit found, and how many packages it could not ask about."""

import json
import sys
from pathlib import Path

CLEAN, WEAK, UNKNOWN = 0, 1, 3


def report(found: dict) -> tuple[int, list[str]]:
    """Exit status and lines for the operator."""
    packages = found["dependencies"]
    skipped = [one["name"] for one in packages if "skip_reason" in one]
    weak = [one for one in packages if one.get("vulns")]
    lines = [
        f"{one['name']} {one['version']}: {fault['id']}, mended in "
        f"{', '.join(fault['fix_versions']) or 'no version yet'}"
        for one in weak
        for fault in one["vulns"]
    ]
    asked = len(packages) - len(skipped)
    lines.append(
        f"{asked} of {len(packages)} packages were asked about; {len(weak)} have a known weakness."
    )
    if skipped:
        lines.append(
            f"{len(skipped)} were not, and may have one: {', '.join(skipped)}\n"
            "deploy/audit --service osv asks another service."
        )
    if weak:
        return WEAK, lines
    return (UNKNOWN if skipped or not packages else CLEAN), lines


if __name__ == "__main__":
    status, told = report(json.loads(Path(sys.argv[1]).read_text("utf-8")))
    sys.stdout.write("\n".join(told) + "\n")
    sys.exit(status)
