"""What stored fits are compared with: today's data, and the code that would fit them."""

import hashlib
from functools import cache
from pathlib import Path

import surveys.fitting
import surveys.trends
from surveys.models import Program
from surveys.seasons.query import fetch

VERSION = "Duskpool 0.1.0"

# Every change to what counts raises the revision of its visit. A stamp therefore needs no
# listening period, and costs a page little.
STAMP = """
SELECT md5(concat_ws('|',
    (SELECT string_agg(v.id::text || v.revision, ',' ORDER BY v.id)
     FROM surveys_visit v JOIN surveys_route r ON r.id = v.route_id
     WHERE r.program_id = %(program)s AND v.counts_in_trends),
    (SELECT string_agg(concat_ws(':', r.id, r.region), ',' ORDER BY r.id)
     FROM surveys_route r WHERE r.program_id = %(program)s),
    (SELECT string_agg(concat_ws(':', s.id, s.habitat, s.hydroperiod, s.fish), ',' ORDER BY s.id)
     FROM surveys_stop s JOIN surveys_route r ON r.id = s.route_id
     WHERE r.program_id = %(program)s),
    (SELECT string_agg(
         concat(e.species_id, ':', e.listed_from, ':', e.listed_until, ':', e.calls_from_month,
                ':', e.calls_from_day, ':', e.calls_to_month, ':', e.calls_to_day),
         ',' ORDER BY e.species_id)
     FROM surveys_checklistentry e WHERE e.program_id = %(program)s)
)) AS stamp
"""


def data_stamp(program: Program) -> str:
    """A checksum of all that the fits of a program depend on."""
    return str(fetch(STAMP, {"program": program.pk})[0].stamp)


@cache
def software() -> str:
    """Version and checksum of the code that fits: other code, other results."""
    digest = hashlib.sha256()
    for package in (surveys.trends, surveys.fitting):
        for path in sorted(Path(package.__path__[0]).rglob("*.py")):
            digest.update(path.read_bytes())
    return f"{VERSION} ({digest.hexdigest()[:12]})"
