"""Firefox by the few commands of W3C WebDriver BiDi that a thumb needs.

Playwright would speak the rest of it, but it asks for what only later releases than Debian's know.
"""

import base64
import json
import os
import re
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import count
from pathlib import Path
from typing import Any

from websockets.sync.client import ClientConnection, connect

FIREFOX = "firefox-esr"
_LISTENING = re.compile(r"WebDriver BiDi listening on (ws://\S+)")
_PREFERENCES = {
    # A microphone that beeps, and nobody to ask whether it may be used.
    "media.navigator.streams.fake": True,
    "media.navigator.permission.disabled": True,
    "media.cubeb.backend": "alsa",
    # It talks to nobody but the site.
    "app.normandy.enabled": False,
    "app.update.disabledForTesting": True,
    "browser.aboutwelcome.enabled": False,
    "browser.newtabpage.enabled": False,
    "browser.region.network.url": "",
    "browser.safebrowsing.downloads.enabled": False,
    "browser.safebrowsing.malware.enabled": False,
    "browser.safebrowsing.phishing.enabled": False,
    "browser.startup.page": 0,
    "datareporting.policy.dataSubmissionEnabled": False,
    "datareporting.usage.uploadEnabled": False,
    "dom.push.connection.enabled": False,
    "extensions.getAddons.cache.enabled": False,
    "extensions.update.enabled": False,
    "network.captive-portal-service.enabled": False,
    "network.connectivity-service.enabled": False,
    "nimbus.rollouts.enabled": False,
    "services.settings.server": "data:,",
    "toolkit.telemetry.server": "",
    # What is tapped is what the page says is there, not what was drawn last.
    "remote.events.async.enabled": False,
    # One process is enough for one window, and starts sooner.
    "dom.ipc.processPrelaunch.enabled": False,
    "dom.ipc.processCount": 1,
}
# A sound card into which everything plays; without any, Firefox plays nothing at all.
_SOUND = "pcm.!default { type null }\nctl.!default { type null }\n"
LARGEST_BYTES = 50_000_000
STARTS_WITHIN_S = 120


class RefusedError(Exception):
    """What Firefox says of a command that it could not carry out."""


class Firefox:
    """One window."""

    def __init__(self, wire: ClientConnection, patience_s: float) -> None:
        self._wire, self._patience_s = wire, patience_s
        self._numbers = count(1)
        self.about = self._ask("session.new", capabilities={})["capabilities"]
        (tab,) = self._ask("browsingContext.getTree")["contexts"]
        self._tab = tab["context"]

    def _ask(self, method: str, **params: Any) -> Any:
        number = next(self._numbers)
        self._wire.send(json.dumps({"id": number, "method": method, "params": params}))
        while True:
            answer = json.loads(self._wire.recv(timeout=self._patience_s))
            if answer.get("id") == number:
                break
        if answer["type"] != "success":
            raise RefusedError(f"{answer['error']}: {answer['message']}")
        return answer["result"]

    def is_phone(self, origin: str, size: dict[str, int], place: dict[str, float]) -> None:
        """So large, and at the place, which pages of the origin may know."""
        allowed = {"name": "geolocation"}
        self._ask("browsingContext.setViewport", context=self._tab, viewport=size)
        self._ask("permissions.setPermission", descriptor=allowed, state="granted", origin=origin)
        self._ask("emulation.setGeolocationOverride", contexts=[self._tab], coordinates=place)

    def open(self, url: str) -> None:
        self._ask("browsingContext.navigate", context=self._tab, url=url, wait="complete")

    def run(self, script: str, *given: Any) -> Any:
        answer = self._ask(
            "script.callFunction",
            functionDeclaration=f"async (given) => JSON.stringify({{ value: await ({script})("
            "...JSON.parse(given)) })",
            arguments=[{"type": "string", "value": json.dumps(given)}],
            target={"context": self._tab},
            awaitPromise=True,
        )
        if answer["type"] != "success":
            raise RefusedError(answer["exceptionDetails"]["text"])
        return json.loads(answer["result"]["value"]).get("value")

    def perform(self, *actions: dict[str, Any]) -> None:
        self._ask("input.performActions", context=self._tab, actions=actions)

    def picture(self) -> bytes:
        shot = self._ask("browsingContext.captureScreenshot", context=self._tab)
        return base64.b64decode(shot["data"])


@contextmanager
def driving(profile: Path, *, patience_s: float) -> Iterator[Firefox]:
    """A window of a new profile in the folder."""
    profile.mkdir()
    lines = (f"user_pref({json.dumps(k)}, {json.dumps(v)});" for k, v in _PREFERENCES.items())
    (profile / "user.js").write_text("\n".join(lines))
    sound = profile / "asound.conf"
    sound.write_text(_SOUND)
    environment = {**os.environ, "ALSA_CONFIG_PATH": str(sound)}
    command = [FIREFOX, "--headless", "--no-remote", "--remote-debugging-port=0"]
    command += ["--profile", str(profile), "about:blank"]
    said = profile / "said"
    with (
        said.open("wb") as out,
        subprocess.Popen(command, stdout=out, stderr=out, env=environment) as process,
    ):
        try:
            address = _address(process, said)
            with connect(f"{address}/session", max_size=LARGEST_BYTES, proxy=None) as wire:
                yield Firefox(wire, patience_s)
        finally:
            process.terminate()


def _address(process: subprocess.Popen[bytes], said: Path) -> str:
    deadline = time.monotonic() + STARTS_WITHIN_S
    while process.poll() is None and time.monotonic() < deadline:
        if found := _LISTENING.search(said.read_text(errors="replace")):
            return found[1]
        time.sleep(0.05)
    raise RuntimeError(f"Firefox did not start:\n{said.read_text(errors='replace')[-2000:]}")
