"""A site whose parts are killed at random moments while people work: nothing that was acknowledged
is lost, nothing is there twice, and nothing is stuck.

SIGKILL to a server process, to all of the server, to a worker, to all workers, to a connection of
PostgreSQL (which makes all others begin anew) and to PostgreSQL itself, and restarts of it, while
visits are submitted, reviewed, recorded, imported and published and mail is sent, by two sets of
workers; migrations of the kind that the linter lets through; disks of files and of the database
that are full for some seconds (as root only). KILLS says how many kills (200), KILL_SEED draws
other moments, CLOCK_JUMPS how often the clock of the whole site, PostgreSQL too, is a day ahead or
back for some seconds (0; it needs a C compiler).

    pytest -m slow -s tests/benchmarks/test_kills.py

Measured on two cores, ahead of work of others (nice -15, load 6 to 20), seed 13 with ten jumps of
the clock: 200 kills, 20 restarts of PostgreSQL, 5 migrations, each disk full 5 times; 563 answers
lost. 960 visits and as many reviews, 145 recordings, 8 imports and 2 publications acknowledged, 365
of the reviews told by mail: none lost. None of them doubled but a mail, which the mail server was
given twice; such a one has the same Message-ID since then (`surveys/runs/mail_ids.py`). 75 attempts
broke off, and all was done 20 s after the last kill. After all of the server was killed it answered
within 11 s.
Earlier runs found three faults: a clock a day ahead left work due tomorrow and gave away jobs of
workers that lived (`surveys/runs/clock.py`); an attempt that had lost its job ended that of its
successor (`work.py`); and a task of every minute that could not be put back kept every job of a
dead worker from it, for ever (`tasks.py`).
"""

import hashlib
import os
import random
import re
import threading
import time
from collections import Counter
from collections.abc import Iterable
from email import message_from_bytes, policy
from pathlib import Path

import psycopg
import pytest

from tests.benchmarks.kills.backlog import Backlog
from tests.benchmarks.kills.clients import (
    Book,
    Person,
    begin,
    import_files,
    publish,
    record_sounds,
    review_visits,
    submit_visits,
)
from tests.benchmarks.kills.site import Site

pytestmark = [pytest.mark.benchmark, pytest.mark.slow]

KILLS = int(os.environ.get("KILLS", "200"))
SEED = int(os.environ.get("KILL_SEED", "13"))
CLOCK_JUMPS = int(os.environ.get("CLOCK_JUMPS", "0"))
RESTARTS = max(1, KILLS // 10)
WHAT = ("web child", "web all", "worker child", "worker all", "backend", "postmaster")
WEIGHTS = (6, 1, 6, 1, 3, 1)
MIGRATIONS = max(1, KILLS // 40)
FULL_DISKS = max(1, KILLS // 40)
# What is to be hit may just be gone.
TRIES = 30
PAUSE_OF_IMPORTS_S = 60
LONGEST_PAUSE_S = 2.0
DISK_FULL = "disk of the server is full"
STUCK_AFTER_S = 120
# A busy machine may still be at work then. What is stuck is what no longer moves.
GIVE_UP_AFTER_S = 600
UNDER_WAY = """
    SELECT (SELECT count(*) FROM procrastinate_jobs j WHERE status IN ('todo', 'doing')
                AND queueing_lock IS NULL)
        + (SELECT count(*) FROM surveys_backgroundrun WHERE state IN ('queued', 'running'))
"""
# Changes as long as anything is done but what is done every minute.
MOVED = """
    SELECT (SELECT count(*) FROM procrastinate_jobs j
            WHERE status NOT IN ('todo', 'doing') AND queueing_lock IS NULL)
        || ' ' || (SELECT coalesce(string_agg(concat(id, state, step, done), ' ' ORDER BY id), '')
            FROM surveys_backgroundrun)
"""


@pytest.fixture
def site(tmp_path):
    made = Site(tmp_path, clock_jumps=CLOCK_JUMPS > 0)
    try:
        yield made
    finally:
        made.end()


def kills(rng: random.Random, disks: Iterable[str]) -> list[str]:
    """Kills, and what else happens between them."""
    chosen = rng.choices(WHAT, WEIGHTS, k=KILLS)
    chosen += ["restart"] * RESTARTS + ["migration"] * MIGRATIONS + ["clock"] * CLOCK_JUMPS
    chosen += [disk for disk in disks for _ in range(FULL_DISKS)]
    rng.shuffle(chosen)
    return chosen


def test_nothing_acknowledged_is_lost(site, record_property):
    rng = random.Random(SEED)
    facts = site.begin()
    book, over = Book(), threading.Event()
    backlog = Backlog(site.connect)

    def person(cookie: str) -> Person:
        return Person(cookie, site.port, facts["program"], book, over)

    coordinator = person(facts["coordinator"])
    clients = 2 * facts["observers"]
    threads = [
        begin(submit_visits, person(cookie), facts["routes"][place :: len(clients)])
        for place, cookie in enumerate(clients)
    ]
    threads.append(begin(review_visits, coordinator, random.Random(SEED)))
    threads.append(begin(record_sounds, book, over, random.Random(SEED)))
    threads.append(begin(publish, person(facts["coordinator"])))
    threads.append(begin(import_files, person(facts["coordinator"]), facts["imports"],
                         PAUSE_OF_IMPORTS_S))  # fmt: skip

    killed: Counter[str] = Counter()
    before, waits = "start", []
    for what in kills(rng, site.disks):
        for _ in range(TRIES):
            # Work has to be under way to be hit.
            waits += [(seconds, part, before) for seconds, part in
                      zip(site.wait_for_web(), ("server", "database"), strict=True)]  # fmt: skip
            time.sleep(rng.uniform(0.1, LONGEST_PAUSE_S))
            before = what
            if site.kill(what, rng):
                killed[what] += 1
                break
    time.sleep(5)
    over.set()
    for thread in threads:
        thread.join(timeout=120)
    waited, held = wait_until_done(site, backlog)
    backlog.end()
    found = judge(site, book)
    said = words(killed, book, waited, found) + f"\njobs of dead workers after 2 minutes: {held}"
    said += taken_up(backlog)
    said += "".join(f"\n{seconds:.0f} s until the {part} answered after {what}"
                    for seconds, part, what in sorted(waits, reverse=True)[:5])  # fmt: skip
    record_property("kills", said)
    print(said)  # noqa: T201 - shown with -s
    assert found["lost"] == [], said
    assert found["doubled"] == [], said
    assert (found["stuck"], held) == (0, 0), said
    assert book.surprises == [], said


OF_DEAD_WORKERS = """
    SELECT count(*) FROM procrastinate_jobs j
    LEFT JOIN procrastinate_workers w ON w.id = j.worker_id
    WHERE j.status = 'doing' AND (w.id IS NULL OR w.last_heartbeat
        NOT BETWEEN now() - interval '1 minute' AND now() + interval '1 minute')
"""
# What became of each, for whoever has to find out why.
STANDING = """
    SELECT concat_ws(' ', 'job', j.id, j.task_name, j.status, 'attempts', j.attempts, 'due in',
        j.scheduled_at - now(), 'worker seen', now() - w.last_heartbeat, 'ago, lock', j.lock)
    FROM procrastinate_jobs j LEFT JOIN procrastinate_workers w ON w.id = j.worker_id
    WHERE j.status IN ('todo', 'doing') AND j.queueing_lock IS NULL
    UNION ALL
    SELECT concat_ws(' ', 'run', id, kind, state, 'attempts', attempts, 'step', step, done, 'of',
        total, 'reported', now() - reported_at, 'ago, job', job_id, problem)
    FROM surveys_backgroundrun WHERE state IN ('queued', 'running')
"""


def taken_up(backlog: Backlog) -> str:
    longest = "".join(
        f"\n{seconds:.0f} s until {task} was at work again"
        for seconds, task in sorted(backlog.again, reverse=True)[:10]
    )
    return f"\n{len(backlog.again)} attempts broke off{longest}\nleft after the last kill: " + (
        "\n".join(backlog.told)
    )


def wait_until_done(site: Site, backlog: Backlog) -> tuple[float, int | None]:
    """Seconds until nothing is under way, and how many jobs dead workers hold after two minutes."""
    began = moved_at = time.monotonic()
    held = moved = None
    while time.monotonic() - moved_at < GIVE_UP_AFTER_S:
        if time.monotonic() - began > STUCK_AFTER_S and held is None:
            held = asked(site, OF_DEAD_WORKERS)
        backlog.tell(since=began)
        if asked(site, UNDER_WAY) == 0:
            break
        if (now := asked(site, MOVED)) != moved:
            moved, moved_at = now, time.monotonic()
        time.sleep(1)
    return time.monotonic() - began, held or 0


def asked(site: Site, query: str) -> int | str | None:
    try:
        with site.connect() as there:
            return there.execute(query).fetchone()[0]
    except psycopg.Error:
        return None


def judge(site: Site, book: Book) -> dict:
    """What is lost, doubled or stuck, read from the database and the disk itself."""
    lost, doubled = [], []
    with site.connect() as there:
        lost += _lost_visits(there, book)
        lost += _lost_recordings(there, book, site.folder / "media")
        lost += _lost_runs(there, book)
        doubled += _doubled(there)
        standing = [row for (row,) in there.execute(STANDING)]
        doubled += _doubled_imports(there, book)
        notes = dict(there.execute(
            "SELECT note, count(*) FROM surveys_reviewstep WHERE note LIKE 'Please check: %'"
            " GROUP BY 1"
        ).fetchall())  # fmt: skip
    mailed = mails(site.folder / "mail")
    lost += [f"mail of {note}" for note in notes if not mailed[note]]
    doubled += [f"mail of {note}" for note, count in mailed.items() if count > 1]
    return {
        "lost": lost,
        "doubled": doubled,
        "stuck": len(standing),
        "standing": standing,
        "mails": sum(mailed.values()),
    }


def _lost_visits(there: psycopg.Connection, book: Book) -> list[str]:
    stored = {str(pk): (state, cells) for pk, state, cells in there.execute(
        "SELECT v.id, v.state, s.cells FROM surveys_visit v JOIN surveys_submission s"
        " ON s.visit_id = v.id")}  # fmt: skip
    lost = []
    for visit, cells in book.submitted.items():
        state, kept = stored.get(visit, ("missing", None))
        wanted = (
            {"accepted"} if visit in book.accepted
            else {"sent_back"} if visit in book.sent_back
            else {"submitted", "accepted", "sent_back"}
        )  # fmt: skip
        if state not in wanted or kept != cells:
            lost.append(f"visit {visit} is {state}")
    return lost


def _lost_recordings(there: psycopg.Connection, book: Book, media: Path) -> list[str]:
    stored = {str(pk): name for pk, name in there.execute(
        "SELECT id, audio FROM surveys_recording")}  # fmt: skip
    lost = []
    for recording, sha256 in book.recordings.items():
        file = media / stored.get(recording, "missing")
        if not file.is_file() or hashlib.sha256(file.read_bytes()).hexdigest() != sha256:
            lost.append(f"recording {recording}")
    return lost


def _lost_runs(there: psycopg.Connection, book: Book) -> list[str]:
    runs = there.execute("SELECT id, options, state, problem FROM surveys_backgroundrun")
    ended = {run: facts for run, *facts in runs}
    lost = []
    for run in book.publications:
        _, state, problem = ended.get(run, ({}, "missing", ""))
        if DISK_FULL in problem:
            book.told["publication told of a full disk"] += 1
        elif state not in ("done", "refused"):
            lost.append(f"publication run {run} is {state}: {problem}")
    for file in book.imports:
        if any(file["id"] in str(options) and DISK_FULL in problem
               for options, _, problem in ended.values()):  # fmt: skip
            book.told["import told of a full disk"] += 1
            continue
        count = there.execute(
            "SELECT count(*) FROM surveys_visit v JOIN surveys_route r ON r.id = v.route_id"
            " WHERE r.code = %s", [file["route"]],
        ).fetchone()[0]  # fmt: skip
        if count < file["visits"]:
            lost.append(f"import into {file['route']}: {count} of {file['visits']} visits")
    return lost


def _doubled_imports(there: psycopg.Connection, book: Book) -> list[str]:
    return [
        f"import into {file['route']}"
        for file in book.imports
        for (count,) in there.execute(
            "SELECT count(*) FROM surveys_visit v JOIN surveys_route r ON r.id = v.route_id"
            " WHERE r.code = %s", [file["route"]],
        )
        if count > file["visits"]
    ]  # fmt: skip


TWICE = {
    "submission": "SELECT visit_id FROM surveys_submission GROUP BY 1 HAVING count(*) > 1",
    "visit of a route and night": "SELECT route_id, night FROM surveys_visit GROUP BY 1, 2"
    " HAVING count(*) > 1",
    "step of review": "SELECT visit_id, step FROM surveys_reviewstep GROUP BY 1, 2"
    " HAVING count(*) > 1",
    "recording": "SELECT visit_id, sha256 FROM surveys_recording GROUP BY 1, 2 HAVING count(*) > 1",
    "publication of a run": "SELECT program_id, season_year, version FROM surveys_publication"
    " GROUP BY 1, 2, 3 HAVING count(*) > 1",
    "more publications than runs": "SELECT 1 WHERE (SELECT count(*) FROM surveys_publication) >"
    " (SELECT count(*) FROM surveys_backgroundrun WHERE kind = 'publish' AND state = 'done')",
}


def _doubled(there: psycopg.Connection) -> list[str]:
    return [f"{what} {row}" for what, query in TWICE.items() for row in there.execute(query)]


def mails(folder: Path) -> Counter[str]:
    """Under how many Message-IDs the note of each step was mailed."""
    found = set()
    for file in folder.iterdir():
        for part in file.read_bytes().split(b"-" * 79 + b"\n"):
            if part.strip():
                message = message_from_bytes(part, policy=policy.default)
                notes = re.findall(r"Please check: [0-9a-f-]{36}", message.get_content())
                found.update((message["Message-ID"], note) for note in notes)
    return Counter(note for _, note in found)


def words(killed: Counter[str], book: Book, waited: float, found: dict) -> str:
    parts = ", ".join(f"{what} {count}" for what, count in sorted(killed.items()))
    return (
        f"seed {SEED}: {sum(killed[what] for what in WHAT)} kills ({parts});"
        f" {book.lost_answers} answers lost\n"
        f"acknowledged: {len(book.submitted)} visits, {len(book.accepted)} accepted,"
        f" {len(book.sent_back)} sent back, {len(book.recordings)} recordings,"
        f" {len(book.publications)} publications, {len(book.imports)} imports\n"
        f"lost {len(found['lost'])}, doubled {len(found['doubled'])}, stuck {found['stuck']} after"
        f" {waited:.0f} s; {found['mails']} mails\n"
        + "".join(f"{count} {what}\n" for what, count in book.told.items())
        + "".join(
            f"{count} times no publication: {why}\n" for why, count in book.not_published.items()
        )
        + "\n".join(
            [*found["lost"][:10], *found["doubled"][:10], *found["standing"], *book.surprises[:20]]
        )
    )
