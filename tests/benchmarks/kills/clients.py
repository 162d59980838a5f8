"""People and phones at work on a site that is killed under them.

Each tries what it sends again until it has an answer, as the phone does, and writes down what was
acknowledged: an answer of success that arrived whole.
"""

import base64
import datetime as dt
import hashlib
import json
import queue
import random
import threading
import time
import uuid
from collections import Counter
from collections.abc import Callable, Mapping
from contextlib import closing
from dataclasses import dataclass, field
from http.client import HTTPConnection, HTTPException

from tests.benchmarks.test_phones import NIGHT, sheet

FIRST_NIGHT = dt.date.fromisoformat(NIGHT)
NIGHTS = 60
PIECE = 20_000
SOUND_BYTES = 60_000
TIMEOUT_S = 30
# So that workers that are killed all the time draw about as many pictures as come in.
PAUSE_OF_SOUNDS_S = 2.0


class NoAnswer(Exception):  # noqa: N818 - says what happened
    """The run is over before an answer came."""


@dataclass
class Book:
    """What was acknowledged, and answers that nobody expected."""

    submitted: dict[str, dict[str, str]] = field(default_factory=dict)
    accepted: set[str] = field(default_factory=set)
    sent_back: dict[str, str] = field(default_factory=dict)
    recordings: dict[str, str] = field(default_factory=dict)
    publications: list[int] = field(default_factory=list)
    imports: list[dict] = field(default_factory=list)
    surprises: list[str] = field(default_factory=list)
    not_published: Counter[str] = field(default_factory=Counter)
    told: Counter[str] = field(default_factory=Counter)
    lost_answers: int = 0
    to_review: queue.Queue = field(default_factory=queue.Queue)
    to_record: queue.Queue = field(default_factory=queue.Queue)


@dataclass
class Person:
    cookie: str
    port: int
    program: str
    book: Book
    over: threading.Event
    csrf: str = ""

    def ask(
        self,
        method: str,
        url: str,
        body: object = None,
        headers: Mapping[str, str] | None = None,
    ) -> tuple[int, dict, dict]:
        """Status, data and headers; tried again until an answer comes."""
        while not self.over.is_set():
            try:
                answer = self._ask_once(method, url, body, headers or {})
            except (OSError, HTTPException, ValueError):
                self.book.lost_answers += 1
                time.sleep(1)
                continue
            if answer[0] < 500:
                return answer
            self.book.lost_answers += 1
            time.sleep(1)
        raise NoAnswer

    def _ask_once(
        self, method: str, url: str, body: object, more: Mapping[str, str]
    ) -> tuple[int, dict, dict]:
        headers = {"Accept": "application/json", "Cookie": self.cookie, **more}
        if self.csrf:
            headers["Cookie"] += f"; csrftoken={self.csrf}"
            headers["X-CSRFToken"] = self.csrf
        if body is not None and not isinstance(body, bytes):
            body = json.dumps(body)
            headers["Content-Type"] = "application/json"
        with closing(HTTPConnection("127.0.0.1", self.port, timeout=TIMEOUT_S)) as wire:
            wire.request(method, url, body, headers)
            answer = wire.getresponse()
            text = answer.read()
        for name, value in answer.getheaders():
            if name == "Set-Cookie" and value.startswith("csrftoken="):
                self.csrf = value.split(";")[0].partition("=")[2]
        is_json = answer.headers.get_content_type() == "application/json"
        return answer.status, json.loads(text) if is_json and text else {}, dict(answer.headers)

    def hello(self) -> None:
        while not self.csrf:
            self.ask("GET", f"/{self.program}/survey/hello.json")

    @property
    def api(self) -> str:
        return f"/api/v1/{self.program}/"

    def surprised(self, what: str, status: int, data: dict) -> None:
        self.book.surprises.append(f"{what}: {status} {str(data)[:200]}")


def submit_visits(me: Person, routes: list[str]) -> None:
    """A visit after the other, each of its own route and night."""
    me.hello()
    for route in routes:
        for night in range(NIGHTS):
            if me.over.is_set():
                return
            _submit(me, route, FIRST_NIGHT + dt.timedelta(days=night - 28))


def _submit(me: Person, route: str, night: dt.date) -> None:
    visit = str(uuid.uuid4())
    url = f"{me.api}visits/{visit}/"
    cells = {"night": f"{night}", "temperature_unit": "C", "rain_unit": "mm"}
    for turn in sheet():
        cells |= {address: _moved(text, night) for address, text in turn.items()}
    body = {"route": route, "night": f"{night}", "source": "phone", "cells": cells}
    status, data, _ = me.ask("PUT", url, body)
    if status not in (200, 201):
        return me.surprised("begin", status, data)
    revision = {"If-Match": f'"{data["visit"]["revision"]}"'}
    status, data, _ = me.ask("POST", f"{url}submit/", headers=revision)
    # 409: it was submitted by a try whose answer was lost.
    if status != 200 and not (status == 409 and data["visit"]["state"] != "draft"):
        return me.surprised("submit", status, data)
    me.book.submitted[visit] = cells
    me.book.to_record.put((me, visit))
    me.book.to_review.put((visit, data["visit"]["revision"]))
    return None


def _moved(text: str, night: dt.date) -> str:
    """A moment of the night of the model sheet, on this one."""
    if not text.startswith("2024-04-16T"):
        return text
    return f"{night + dt.timedelta(days=1)}{text[10:]}"


def record_sounds(book: Book, over: threading.Event, rng: random.Random) -> None:
    while not over.wait(PAUSE_OF_SOUNDS_S):
        try:
            me, visit = book.to_record.get(timeout=0.5)
        except queue.Empty:
            continue
        _upload(me, visit, b"\x1a\x45\xdf\xa3" + rng.randbytes(SOUND_BYTES - 4))


def _upload(me: Person, visit: str, content: bytes) -> None:
    recording = str(uuid.uuid4())
    sha256 = hashlib.sha256(content).hexdigest()
    facts = {"id": recording, "visit": visit, "kind": "voucher", "filetype": "audio/webm",
             "seconds": "2.5", "sha256": sha256}  # fmt: skip
    tus = {"Tus-Resumable": "1.0.0"}
    said = ",".join(
        f"{key} {base64.b64encode(text.encode()).decode()}" for key, text in facts.items()
    )
    begin = tus | {"Upload-Length": str(len(content)), "Upload-Metadata": said}
    status, data, _ = me.ask("POST", f"{me.api}recordings/", b"", begin)
    if status not in (200, 201, 409):
        return me.surprised("begin recording", status, data)
    url = f"{me.api}recordings/{recording}/"
    while True:
        status, data, headers = me.ask("HEAD", url, headers=tus)
        if status != 200:
            return me.surprised("ask for recording", status, data)
        if headers.get("Upload-Complete") == "?1":
            me.book.recordings[recording] = sha256
            return None
        offset = int(headers["Upload-Offset"])
        piece = content[offset : offset + PIECE]
        checksum = base64.b64encode(hashlib.sha256(piece).digest()).decode()
        me.ask("PATCH", url, piece, tus | {
            "Upload-Offset": str(offset), "Upload-Checksum": f"sha256 {checksum}",
            "Content-Type": "application/offset+octet-stream"})  # fmt: skip


def review_visits(me: Person, rng: random.Random) -> None:
    """Accepts most, sends some back with a note of their own, which is mailed."""
    me.hello()
    while not me.over.is_set():
        try:
            visit, revision = me.book.to_review.get(timeout=0.5)
        except queue.Empty:
            continue
        url, match = f"{me.api}visits/{visit}/", {"If-Match": f'"{revision}"'}
        if rng.random() < 0.6:
            status, data, _ = me.ask("POST", f"{url}accept/", headers=match)
            if status == 200 or data.get("visit", {}).get("state") == "accepted":
                me.book.accepted.add(visit)
            elif status != 422:  # a question about the wind is open, so it waits
                me.surprised("accept", status, data)
            continue
        note = f"Please check: {uuid.uuid4()}"
        status, data, _ = me.ask("POST", f"{url}send-back/", {"note": note}, match)
        if status == 200 or data.get("visit", {}).get("state") == "sent_back":
            me.book.sent_back[visit] = note
        else:
            me.surprised("send back", status, data)


def publish(me: Person) -> None:
    me.hello()
    number = 0
    while not me.over.wait(5):
        number += 1
        body = {"season_year": 2024, "reason": f"Number {number}."}
        status, data, _ = me.ask("POST", f"{me.api}publications/", body)
        if status == 202:
            me.book.publications.append(data["id"])
        elif status not in (400, 409):  # nothing new to publish, or one is under way
            me.surprised("publish", status, data)
        else:
            me.book.not_published[str(data.get("detail"))[:80]] += 1


def import_files(me: Person, files: list[dict], pause_s: float) -> None:
    me.hello()
    for file in files:
        if me.over.wait(pause_s):
            return
        form = {"Content-Type": "application/x-www-form-urlencoded"}
        url = f"/{me.program}/import/{file['id']}/commit/"
        status, data, _ = me.ask("POST", url, b"", form)
        if status == 302:
            me.book.imports.append(file)
        else:
            me.surprised("import", status, data)


def begin(work: Callable[..., None], *arguments: object) -> threading.Thread:
    def run() -> None:
        try:
            work(*arguments)
        except NoAnswer:
            return

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    return thread
