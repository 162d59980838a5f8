"""WebKit through its driver, by the few commands of W3C WebDriver that a thumb needs.

Selenium would speak the rest of it, too, but it brings trio, which puts itself into Hypothesis and
warns there; here a warning is an error.
"""

import base64
import json
import os
import subprocess
import time
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from http.client import HTTPConnection
from pathlib import Path
from typing import Any

from tests.support.served import free_port

BROWSER = Path(__file__).with_name("browser.py")
STARTS_WITHIN_S = 60
_RUN = """const done = arguments[arguments.length - 1];
Promise.resolve(({script})(...[...arguments].slice(0, -1))).then(
  (value) => done({{ value }}),
  (error) => done({{ error: `${{error}} ${{error?.stack}}` }}),
);"""


class RefusedError(Exception):
    """What the driver says of a command that it could not carry out."""


class WebKit:
    """One window."""

    def __init__(self, port: int, arguments: Sequence[str], patience_s: float) -> None:
        self._port, self._patience_s, self._place = port, patience_s, ""
        patience_ms = int(patience_s * 1000)
        wanted = {
            "webkitgtk:browserOptions": {"binary": str(BROWSER), "args": list(arguments)},
            "timeouts": {"script": patience_ms, "pageLoad": patience_ms},
        }
        made = self._ask("POST", "/session", {"capabilities": {"alwaysMatch": wanted}})
        self.about = made["capabilities"]
        self._place = f"/session/{made['sessionId']}"

    def _ask(self, method: str, address: str, body: dict[str, Any] | None = None) -> Any:
        with closing(HTTPConnection("127.0.0.1", self._port, timeout=self._patience_s)) as asked:
            text = None if body is None else json.dumps(body)
            asked.request(method, self._place + address, text, {"Content-Type": "application/json"})
            response = asked.getresponse()
            value = json.loads(response.read())["value"]
        if response.status != 200:
            raise RefusedError(f"{value['error']}: {value['message']}")
        return value

    def open(self, url: str) -> None:
        self._ask("POST", "/url", {"url": url})

    def run(self, script: str, *given: Any) -> Any:
        body = {"script": _RUN.format(script=script), "args": given}
        answer = self._ask("POST", "/execute/async", body)
        if "error" in answer:
            raise RefusedError(answer["error"])
        return answer.get("value")

    def perform(self, *actions: dict[str, Any]) -> None:
        self._ask("POST", "/actions", {"actions": actions})

    def picture(self) -> bytes:
        return base64.b64decode(self._ask("GET", "/screenshot"))

    def close(self) -> None:
        self._ask("DELETE", "")


@contextmanager
def driving(arguments: Sequence[str], *, display: str, patience_s: float) -> Iterator[WebKit]:
    """A window whose `browser.py` got the arguments, on the X display."""
    port = free_port()
    # A desktop of the machine is none of its business, nor is its bus.
    environment = {**os.environ, "DISPLAY": display, "GDK_BACKEND": "x11", "LANG": "C.UTF-8"}
    environment |= {"NO_AT_BRIDGE": "1", "GIO_USE_VFS": "local", "GSETTINGS_BACKEND": "memory"}
    command = ["WebKitWebDriver", f"--port={port}"]
    with subprocess.Popen(command, env=environment, start_new_session=True) as process:
        try:
            session = _begun(process, port, arguments, patience_s)
            yield session
            session.close()
        finally:
            process.terminate()


def _begun(process, port: int, arguments: Sequence[str], patience_s: float) -> WebKit:
    deadline = time.monotonic() + STARTS_WITHIN_S
    while process.poll() is None:
        try:
            return WebKit(port, arguments, patience_s)
        except ConnectionRefusedError:
            if time.monotonic() > deadline:
                raise
            time.sleep(0.05)
    raise RuntimeError(f"WebKitWebDriver ended with {process.returncode}")
