"""Connections that really break: gunicorn as in real use, and a bare socket for a phone."""

import http.client
import json
import socket
import time
from contextlib import closing
from email.message import Message
from typing import NamedTuple

import pytest
from django.test import Client

from surveys.models import (
    Recording,
    RecordingPiece,
)
from tests.support.builders import make_route
from tests.support.served import (
    served,
    session_cookie,
)
from tests.support.sheets import make_draft
from tests.support.sounds import (
    PIECE,
    Uploader,
    checksum,
    sound,
)

pytestmark = pytest.mark.django_db(transaction=True)
# Only a server that does not answer takes so long.
PATIENCE_S = 120


class Answer(NamedTuple):
    status: int
    headers: Message
    body: bytes


class Wire:
    """The phone's side of the connection, byte for byte."""

    def __init__(self, port: int, client: Client, phone: Uploader) -> None:
        self.port, self.phone = port, phone
        self.cookie = session_cookie(client)
        hello = self.ask("GET", f"/{phone.visit.route.program.slug}/survey/hello.json")
        token = json.loads(hello.body)["csrf"]
        for cookie in hello.headers.get_all("Set-Cookie"):
            self.cookie += f"; {cookie.split(';')[0]}"
        self.headers = {"Tus-Resumable": "1.0.0", "X-CSRFToken": token}

    def ask(self, method: str, path: str, **headers: str) -> Answer:
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=PATIENCE_S)
        with closing(connection) as line:
            line.request(method, path, headers={"Cookie": self.cookie, **headers})
            response = line.getresponse()
            return Answer(response.status, response.headers, response.read())

    def offset(self) -> int:
        response = self.ask("HEAD", self.phone.place, **self.headers)
        assert response.status == 200
        return int(response.headers["Upload-Offset"])

    def patch(self, first: int, piece: bytes, *, sends: int | None = None, **headers: str) -> str:
        """The status line; without one when the phone hangs up after `sends` bytes."""
        lines = {
            "Host": "127.0.0.1",
            "Cookie": self.cookie,
            "Content-Type": PIECE,
            "Content-Length": str(len(piece)),
            "Upload-Offset": str(first),
            **self.headers,
            **headers,
        }
        head = f"PATCH {self.phone.place} HTTP/1.1\r\n"
        head += "".join(f"{name}: {value}\r\n" for name, value in lines.items()) + "\r\n"
        connection = socket.create_connection(("127.0.0.1", self.port), timeout=PATIENCE_S)
        with closing(connection) as line:
            line.sendall(head.encode() + piece[:sends])
            if sends is not None:
                return ""
            return line.recv(4096).decode().splitlines()[0]


def comes_to(wire: Wire, allowed: int) -> int:
    """The offset once the server has noticed that nobody is there any more."""
    deadline = time.monotonic() + PATIENCE_S
    while wire.offset() != allowed and time.monotonic() < deadline:
        time.sleep(0.1)
    return wire.offset()


def test_client_disconnects_in_the_middle_of_a_piece(client_for, observer, program, tmp_path):
    """tus 1.0.0, Requests, PATCH: as much as possible is stored; Checksum: a piece that does
    not have its checksum is thrown away. Either way the upload goes on and comes out whole."""
    visit = make_draft(observer, make_route(program))
    client = client_for(observer)
    phone = Uploader(client=client, visit=visit, content=sound(700_000))
    assert phone.begin().status_code == 201
    piece = phone.content[:400_000]
    with served(tmp_path) as port:
        wire = Wire(port, client, phone)
        wire.patch(0, piece, sends=250_000, **{"Upload-Checksum": checksum(piece)})
        time.sleep(0.5)
        assert wire.offset() == 0
        assert not RecordingPiece.objects.exists()

        wire.patch(0, piece, sends=250_000)
        assert comes_to(wire, 250_000) == 250_000

        # Said to be there already, and not: nothing moves.
        assert " 409 " in wire.patch(0, piece)
        rest = phone.content[250_000:]
        broken = wire.patch(250_000, rest, **{"Upload-Checksum": checksum(piece)})
        assert " 460 " in broken
        assert wire.offset() == 250_000

        answer = wire.patch(250_000, rest, **{"Upload-Checksum": checksum(rest)})
        assert " 204 " in answer
        sent = Recording.objects.get()
        assert (sent.state, sent.received) == ("complete", 700_000)

        url = f"/{program.slug}/recordings/{sent.pk}"
        heard = wire.ask("GET", url)
        assert (heard.status, heard.body) == (200, phone.content)
        part = wire.ask("GET", url, Range="bytes=699000-")
        assert (part.status, part.body) == (206, phone.content[699_000:])
        response = wire.ask("HEAD", url)
        assert (response.status, response.headers["Content-Length"], response.body) == (
            200,
            "700000",
            b"",
        )
