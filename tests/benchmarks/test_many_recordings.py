"""Listening in a program with thousands of recordings: pages and ranges, beside their SQL alone.

`RECORDINGS=10000 pytest -m slow -s tests/benchmarks/test_many_recordings.py` writes the table, for
files on the disk and in a bucket. The sound of all is one file of 3 MB: on the disk under as
many names that are links to it, in the bucket under one name, as what the service of a bucket does
with many is not ours to measure.
"""

import os
import random
import time
from collections.abc import Iterator
from contextlib import ExitStack

import numpy as np
import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import connection
from django.test import override_settings
from django.urls import reverse

from accounts.models import Role
from surveys.models import Recording
from tests.benchmarks.nation.costs import Statements
from tests.benchmarks.nation.inhabited import analyze
from tests.support.builders import make_member, make_program
from tests.support.many_rows import without_triggers
from tests.support.many_visits import STOPS, WINDOWS, fill
from tests.support.object_server import object_server, storage_in

pytestmark = [pytest.mark.benchmark, pytest.mark.slow, pytest.mark.django_db]

NUMBER = int(os.environ.get("RECORDINGS", "1000"))
BYTES = 3_000_000
PICTURE_BYTES = 104_000
# One in three was heard by two people who agree.
RECORDINGS = """
INSERT INTO surveys_recording (id, visit_id, stop_id, kind, state, media_type, seconds, bytes,
    received, sha256, audio, upload_metadata, uploaded_by_id, begun_at, completed_at)
SELECT gen_random_uuid(), v.id, p.stop_id, 'voucher', 'complete', 'audio/flac', 180, %(bytes)s,
    %(bytes)s, repeat('0', 64), 'recordings/' || row_number() OVER () || '.flac', '',
    v.observer_id, now(), now()
FROM surveys_listeningperiod p JOIN surveys_visit v ON v.id = p.visit_id
LIMIT %(number)s;
INSERT INTO surveys_recordingpicture (recording_id, image, waveform, seekable, bytes, seconds, cut,
    measures, problem, made_at)
SELECT id, 'recordings/picture.png', 'recordings/picture.png', '', 0, 180, false,
    '{"begin_s": 0, "end_s": 20, "bands": []}', '', now()
FROM surveys_recording;
INSERT INTO surveys_blindlistening (recording_id, agreed, disputed, confirmed, finished_at)
SELECT id, '{}', '[]', '[]', now() FROM surveys_recording WHERE mod(hashtext(id::text), 3) = 0
"""
RUNS = 200
MOST_MS = 300


@pytest.fixture(params=["disk", "bucket"])
def storage(request, tmp_path) -> Iterator[None]:
    backend = {"BACKEND": "surveys.visits.media.storage.WholeFileStorage"}
    with ExitStack() as around:
        if request.param == "bucket":
            backend = storage_in(around.enter_context(object_server("files")), "files")
        storages = {"default": backend, "staticfiles": _STATIC}
        around.enter_context(override_settings(MEDIA_ROOT=tmp_path, STORAGES=storages))
        yield


_STATIC = {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}


def store() -> None:
    content = random.Random(4).randbytes(BYTES)
    default_storage.save("recordings/picture.png", ContentFile(content[:PICTURE_BYTES]))
    first, *others = Recording.objects.order_by("pk").values_list("audio", flat=True)
    default_storage.save(first, ContentFile(content))
    if not hasattr(default_storage, "base_location"):
        Recording.objects.update(audio=first)
        return
    for name in others:
        os.link(default_storage.path(first), default_storage.path(name))


@pytest.fixture
def listener(storage):
    """A coordinator of a program in which as many recordings wait."""
    program = make_program()
    routes = 20
    years = -(-NUMBER // (routes * STOPS * WINDOWS))
    fill(
        program, species=["Peeper", "Toad", "Gray"], routes=routes, years=range(2000, 2000 + years)
    )
    with without_triggers() as cursor:
        cursor.execute(RECORDINGS, {"bytes": BYTES, "number": NUMBER})
    analyze()
    store()
    return make_member(program, Role.COORDINATOR)


def test_the_page_of_listening_is_quick(listener, client_for):
    client = client_for(listener)
    slug = listener.program.slug
    waiting = Recording.objects.filter(blind_listening=None).order_by("?")[:RUNS]
    keys = list(waiting.values_list("pk", flat=True))
    pages = {
        "the next one": ("blind_next", {}, 302),
        "listening page": ("blind_listen", {}, 200),
        "page of a recording": ("recording_listen", {}, 200),
        "picture": ("blind_picture", {}, 200),
        "a range of 64 kB": ("blind_sound", {"Range": "bytes=1500000-1565535"}, 206),
    }
    found = {}
    for words, (name, headers, status) in pages.items():
        where = [slug] if name == "blind_next" else [slug, None]
        times = []
        for number, key in enumerate(keys):
            address = reverse(f"web:{name}", args=[key if one is None else one for one in where])
            begun = time.perf_counter()
            response = client.get(address, headers=headers)
            b"".join(response)
            if number >= 3:
                times.append((time.perf_counter() - begun) * 1000)
            assert response.status_code == status, words
        found[words] = (np.median(times), np.percentile(times, 95), bare_ms(client, address))
    kind = type(default_storage._wrapped).__name__
    print(f"\n{Recording.objects.count()} recordings in {kind}")  # noqa: T201
    for words, (median, p95, bare) in found.items():
        times = f"median {median:.0f} ms, p95 {p95:.0f} ms, its SQL alone {bare:.0f} ms"
        print(f"{words}: {times}")  # noqa: T201
    # Beside others, a page waits for its turn as often as there are others.
    waits = max(1.0, os.getloadavg()[0] / (os.cpu_count() or 1))
    assert max(p95 for _, p95, _ in found.values()) < MOST_MS * waits


def bare_ms(client, address) -> float:
    """Median time of the statements of a page without the page."""
    statements = Statements()
    with connection.execute_wrapper(statements):
        b"".join(client.get(address))
    times = []
    for _ in range(20):
        begun = time.perf_counter()
        with connection.cursor() as cursor:
            for sql, params in statements.reading:
                cursor.execute(sql, params)
                cursor.fetchall()
        times.append((time.perf_counter() - begun) * 1000)
    return float(np.median(times))
