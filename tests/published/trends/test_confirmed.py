"""How far mistakes of the ear move occupancy and trend, and how far recordings mend it.

That false detections raise occupancy: McClintock et al. 2010, Ecology 91:2446-2454; that certain
detections identify them: Miller et al. 2011, Ecology 92:1422-1428 (both from memory).
"""

from pathlib import Path

from scipy.stats import binom

from tests.published.trends.calibration.confirmed import (
    LISTENINGS,
    TRIED,
    WITH,
    WITHOUT,
    count_listening,
    told_of,
)

BY_NAME = {case.name: case for case in LISTENINGS}
PROGRAMS = 40


def test_recordings_mend_the_share_that_mistakes_raise():
    """The whole table: `deploy/calibrate --confirmed`. A bound is passed by chance in fewer than
    one of 10,000 draws of seeds."""
    sums = count_listening(BY_NAME["recordings of half of the routes"], PROGRAMS)
    told = {way: told_of(way, sums[way]) for way in sums}
    least = binom.ppf(1e-4, PROGRAMS, 0.95)
    assert {one.told for one in told.values()} == {PROGRAMS}
    assert min(told[WITH].share_held, told[WITH].change_held) >= least
    assert told[WITHOUT].share_error > 0.03
    assert abs(told[WITH].share_error) < 0.02
    # Recordings of some routes only are taken for what they are.
    assert told[TRIED].share_error < told[WITH].share_error - 0.003


def test_in_the_table_the_intervals_hold_with_recordings_and_not_without():
    table = Path(__file__).parent / "calibration/confirmed.md"
    rows = [
        [cell.strip() for cell in line.strip("|").split("|")]
        for line in table.read_text("utf-8").splitlines()
        if line.startswith("| ")
    ]
    told = {(row[0], row[1]): row[2:] for row in rows}
    for case in LISTENINGS:
        programs, missing, share_error, share, change_error, change = told[case.name, WITH]
        assert int(programs) >= 500
        assert float(missing) <= 1
        assert abs(float(share_error)) <= 1
        assert abs(float(change_error)) <= 0.3
        # 95 % of intervals hold; what 500 programs leave open is 2 points.
        assert 93 <= float(share.partition(" ")[0]) <= 97
        assert 93 <= float(change.partition(" ")[0]) <= 99
        assert float(told[case.name, WITHOUT][3].partition(" ")[0]) < 92, case.name
