"""What stored fits are compared with: today's data, and the software that would fit them."""

from functools import cache
from importlib.metadata import version
from pathlib import Path

import surveys.trends
from surveys.fitting import histories
from surveys.fitting.checksums import software_checksum
from surveys.models import Program
from surveys.programs import wetland_changes
from surveys.programs.schedule import open_season
from surveys.seasons import joint_entries
from surveys.seasons.coverage import tonight
from surveys.seasons.query import fetch

VERSION = "Duskpool 0.1.0"
ROOT = Path(surveys.trends.__file__).parents[1]
# Their optimizers and distributions make the numbers.
LIBRARIES = ("numpy", "scipy")

# Every change to what counts raises the revision of its visit. A stamp therefore needs no
# listening period, and costs a page little.
STAMP = """
SELECT md5(concat_ws('|',
    (SELECT string_agg(v.id::text || v.revision, ',' ORDER BY v.id)
     FROM counted_visit v WHERE v.program_id = %(program)s),
    (SELECT p.region_weights::text FROM surveys_program p WHERE p.id = %(program)s),
    (SELECT string_agg(concat_ws(':', r.id, r.region, r.chosen), ',' ORDER BY r.id)
     FROM surveys_route r WHERE r.program_id = %(program)s),
    (SELECT string_agg(
         concat(s.id, ':', s.habitat, ':', s.hydroperiod, ':', s.fish, ':', s.active_from, ':',
                s.active_until),
         ',' ORDER BY s.id)
     FROM surveys_stop s JOIN surveys_route r ON r.id = s.route_id
     WHERE r.program_id = %(program)s),
    (SELECT string_agg(concat_ws(':', c.stop_id, c.kind, c.began, c.ended), ',' ORDER BY c.id)
     FROM surveys_wetlandchange c JOIN surveys_stop s ON s.id = c.stop_id
     JOIN surveys_route r ON r.id = s.route_id
     WHERE r.program_id = %(program)s),
    (SELECT string_agg(
         concat(e.species_id, ':', e.listed_from, ':', e.listed_until, ':', e.calls_from_month,
                ':', e.calls_from_day, ':', e.calls_to_month, ':', e.calls_to_day),
         ',' ORDER BY e.species_id)
     FROM surveys_checklistentry e WHERE e.program_id = %(program)s),
    (SELECT string_agg(concat_ws(':', m.joint_id, m.member_id), ',' ORDER BY m.joint_id, m.id)
     FROM surveys_jointmember m)
)) AS stamp
"""


def data_stamp(program: Program) -> str:
    """A checksum of all that the fits of a program depend on, the end of a season included."""
    stamp = fetch(STAMP, {"program": program.pk})[0].stamp
    return f"{stamp} {open_season(program, tonight(program)) or ''}".strip()


@cache
def software() -> str:
    """Version of the software and checksum of all that a result depends on beside its data."""
    checksum = software_checksum(
        {str(path.relative_to(ROOT)): path.read_text() for path in _sources()},
        {library: version(library) for library in LIBRARIES},
    )
    return f"{VERSION} ({checksum})"


def _sources() -> list[Path]:
    """The estimators, and how their input is loaded: by the views of what counts."""
    return [
        *Path(surveys.trends.__path__[0]).rglob("*.py"),
        Path(histories.__file__),
        Path(joint_entries.__file__),
        Path(wetland_changes.__file__),
        ROOT / "models" / "counted.sql",
    ]
