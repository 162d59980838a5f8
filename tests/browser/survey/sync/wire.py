"""A wire between phone and server that breaks in the ways that wires do.

An HTTP proxy with a connection for each request, so that no browser sends anything again
by itself. Faults are armed beforehand; each strikes one request that it fits. The survey
asks again a few times before it says anything: a fault that shall be noticed strikes each time.
"""

from __future__ import annotations

import http.client
import sys
import threading
from collections.abc import Callable
from dataclasses import dataclass
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

# What does not belong to the message itself, RFC 9110 section 7.6.1.
_HOP_BY_HOP = frozenset({"connection", "keep-alive", "transfer-encoding", "te", "upgrade"})


@dataclass(frozen=True, kw_only=True)
class Message:
    """A request as it came from the phone."""

    method: str
    path: str
    headers: tuple[tuple[str, str], ...]
    body: bytes

    @property
    def writes(self) -> bool:
        return "/api/" in self.path and self.method != "GET"


@dataclass(frozen=True, kw_only=True)
class Answer:
    status: int
    headers: tuple[tuple[str, str], ...]
    body: bytes


TRIES = 4

_BROKEN = Answer(status=500, headers=(("Content-Type", "text/html"),), body=b"<h1>Broken</h1>")


Fault = Callable[["Wire", Message], Answer | None]


class _Proxy(ThreadingHTTPServer):
    daemon_threads = True

    def handle_error(self, request: Any, client_address: Any) -> None:
        """A browser that was killed hangs up in the middle of an answer."""
        if not isinstance(sys.exc_info()[1], ConnectionError):
            super().handle_error(request, client_address)


class Wire:
    """`url` is what a phone takes for the server."""

    def __init__(self, server: str) -> None:
        self._host = server.removeprefix("http://")
        self._armed: list[tuple[Fault, Callable[[Message], bool]]] = []
        self._held: list[Message] = []
        self._lock = threading.Lock()
        self._port = 0
        self.mend()
        self.url = f"http://127.0.0.1:{self._port}"

    def close(self) -> None:
        self._proxy.shutdown()
        self._proxy.server_close()

    def mend(self) -> None:
        """There is a server at the address, from the beginning or again after `close`."""
        self._proxy = _Proxy(("127.0.0.1", self._port), self._handler())
        self._port = self._proxy.server_port
        threading.Thread(target=self._proxy.serve_forever, args=(0.05,), daemon=True).start()

    def arm(
        self,
        fault: Fault,
        fits: Callable[[Message], bool] = lambda one: one.writes,
        *,
        times: int = 1,
    ) -> None:
        """The next requests that fit suffer the fault."""
        with self._lock:
            self._armed.extend([(fault, fits)] * times)

    def heal(self) -> None:
        with self._lock:
            self._armed.clear()

    def deliver(self) -> None:
        """What was held up on the way reaches the server now; nobody waits for the answers."""
        with self._lock:
            held, self._held = self._held, []
        for message in held:
            self.pass_on(message)

    def drop_held(self) -> None:
        """What was held up is lost."""
        with self._lock:
            self._held.clear()

    def hold(self, message: Message) -> None:
        with self._lock:
            self._held.append(message)

    def answer_to(self, message: Message) -> Answer | None:
        """What the phone gets; None where the connection just ends."""
        fault = self._fault_for(message)
        return self.pass_on(message) if fault is None else fault(self, message)

    def _fault_for(self, message: Message) -> Fault | None:
        with self._lock:
            for place, (fault, fits) in enumerate(self._armed):
                if fits(message):
                    del self._armed[place]
                    return fault
        return None

    def pass_on(self, message: Message) -> Answer:
        connection = http.client.HTTPConnection(self._host, timeout=120)
        try:
            connection.request(
                message.method, message.path, body=message.body, headers=dict(message.headers)
            )
            response = connection.getresponse()
            return Answer(
                status=response.status,
                headers=tuple(response.getheaders()),
                body=response.read(),
            )
        finally:
            connection.close()

    def _handler(self) -> type[BaseHTTPRequestHandler]:
        wire = self

        class Handler(BaseHTTPRequestHandler):
            def handle_any(self) -> None:
                length = int(self.headers.get("Content-Length") or 0)
                message = Message(
                    method=self.command,
                    path=self.path,
                    headers=_end_to_end(self.headers.items()),
                    body=self.rfile.read(length),
                )
                answer = wire.answer_to(message)
                if answer is not None:
                    self._write(answer)

            def _write(self, answer: Answer) -> None:
                self.send_response(answer.status)
                names = {name.lower() for name, _ in answer.headers}
                for name, value in _end_to_end(answer.headers):
                    self.send_header(name, value)
                if "content-length" not in names:
                    self.send_header("Content-Length", str(len(answer.body)))
                self.end_headers()
                self.wfile.write(answer.body)

            def log_message(self, format: str, *values: Any) -> None:  # noqa: A002
                pass

            def __getattr__(self, name: str) -> Any:
                if name.startswith("do_"):
                    return self.handle_any
                raise AttributeError(name)

        return Handler


def _end_to_end(headers: Any) -> tuple[tuple[str, str], ...]:
    return tuple((name, value) for name, value in headers if name.lower() not in _HOP_BY_HOP)


def _lost_request(wire: Wire, message: Message) -> None:
    return None


def _error_before(wire: Wire, message: Message) -> Answer:
    return _BROKEN


def _error_after(wire: Wire, message: Message) -> Answer:
    wire.pass_on(message)
    return _BROKEN


def _lost_answer(wire: Wire, message: Message) -> None:
    wire.pass_on(message)


def _torn_answer(wire: Wire, message: Message) -> Answer:
    whole = wire.pass_on(message)
    length = ("Content-Length", str(len(whole.body) + 1))
    headers = [one for one in whole.headers if one[0].lower() != "content-length"]
    half = whole.body[: len(whole.body) // 2]
    return Answer(status=whole.status, headers=(*headers, length), body=half)


def _sent_twice(wire: Wire, message: Message) -> Answer:
    wire.pass_on(message)
    return wire.pass_on(message)


def _held_up(wire: Wire, message: Message) -> None:
    """The phone gives up waiting; the request arrives at some later time."""
    wire.hold(message)


def _sent_again_late(wire: Wire, message: Message) -> Answer:
    wire.hold(message)
    return wire.pass_on(message)


FAULTS: dict[str, Fault] = {
    "request lost": _lost_request,
    "500 before": _error_before,
    "500 after": _error_after,
    "answer lost": _lost_answer,
    "answer torn": _torn_answer,
    "sent twice": _sent_twice,
    "held up": _held_up,
    "again late": _sent_again_late,
}
