"""What a thumb does with a browser, whichever it is, by actions of W3C WebDriver."""

import time
from collections.abc import Callable
from typing import Any, Protocol

from tests.browser.conftest import PATIENCE_MS

# Where to tap the first one that fits, in the open dialog where there is one; nothing while it is
# covered or on the move. Wide ones are tapped left and right of their middle in turns, so that two
# buttons in one place are not pressed by a double tap; players where they have their button. It is
# seen whether the tap arrives.
_FIND = """async (selector, words, side) => {
  const room = [...document.querySelectorAll("dialog:modal")].at(-1) ?? document;
  const found = [...room.querySelectorAll(selector)].find(
    (one) => one.checkVisibility() && !one.disabled && one.innerText.includes(words),
  );
  if (!found) return null;
  const frame = () => new Promise(requestAnimationFrame);
  const middle = () => {
    const { left, right, top, bottom, width } = found.getBoundingClientRect();
    const aside = width > 150 ? (side * width) / 4 : 0;
    const x = found.localName === "audio" ? left + 22 : (left + right) / 2 + aside;
    return [x, (top + bottom) / 2].map(Math.round);
  };
  found.scrollIntoView({ block: "center", behavior: "instant" });
  const before = middle();
  await frame();
  await frame();
  const [x, y] = middle();
  const isStill = x === before[0] && y === before[1];
  if (!isStill || !found.contains(document.elementFromPoint(x, y))) return null;
  window.thumb = "missed";
  const hit = () => { window.thumb = "hit"; };
  const event = found.localName === "audio" ? "play" : "click";
  found.addEventListener(event, hit, { capture: true, once: true });
  return { x, y };
}"""
# A screen that is drawn again between finding and tapping takes its buttons away.
_ARRIVED = """async () => {
  for (let frame = 0; window.thumb === "missed" && frame < 10; frame += 1)
    await new Promise(requestAnimationFrame);
  return window.thumb !== "missed";
}"""
_TEXT = "() => document.body?.innerText ?? ''"
_SELECT = "() => document.activeElement.select()"
DOUBLE_TAP_S, NEAR_PX = 0.7, 60
TAPPED = "button, a, summary"


class Window(Protocol):
    """What every browser can do."""

    def open(self, url: str) -> None: ...

    def run(self, script: str, *given: Any) -> Any:
        """What a function of the page answers, or what its promise promises."""

    def perform(self, *actions: dict[str, Any]) -> None:
        """https://www.w3.org/TR/webdriver2/, 15.7."""

    def picture(self) -> bytes:
        """As PNG."""


class Hand:
    def __init__(self, window: Window, server: str) -> None:
        self.window, self._server = window, server
        self._last: dict[str, int] | None = None
        self._at, self._side = 0.0, 1

    def open(self, address: str) -> None:
        self.window.open(f"{self._server}{address}")

    def tap(self, words: str, among: str = TAPPED) -> None:
        """What has these words, once it is there."""
        _patiently(f"tap {words or among!r}", lambda: self._tap(among, words))

    def _tap(self, selector: str, words: str) -> bool:
        """Whether it was there and the tap arrived."""
        self._side = -self._side
        place = self.window.run(_FIND, selector, words, self._side)
        if place and self._is_second(place):
            time.sleep(DOUBLE_TAP_S)
            place = self.window.run(_FIND, selector, words, self._side)
        if not place:
            return False
        self._last, self._at = place, time.monotonic()
        down, up = ({"type": f"pointer{way}", "button": 0} for way in ("Down", "Up"))
        moves = [{"type": "pointerMove", "duration": 0, **place}, down, up]
        kind = {"pointerType": "touch"}
        self.window.perform(
            {"type": "pointer", "id": "thumb", "parameters": kind, "actions": moves}
        )
        return self.window.run(_ARRIVED)

    def _is_second(self, place: dict[str, int]) -> bool:
        """The survey takes two taps on one place, one shortly after the other, for one."""
        if self._last is None or time.monotonic() - self._at > DOUBLE_TAP_S:
            return False
        return all(abs(place[way] - self._last[way]) <= NEAR_PX for way in place)

    def fill(self, selector: str, text: str) -> None:
        """Over what stands in the box."""
        self.tap("", selector)
        self.window.run(_SELECT)
        keys = [{"type": f"key{way}", "value": key} for key in text for way in ("Down", "Up")]
        self.window.perform({"type": "key", "id": "keys", "actions": keys})

    def sees(self, words: str) -> None:
        """Waits until the words stand on the screen."""
        _patiently(f"see {words!r}", lambda: words in self.window.run(_TEXT))

    def stands(self, selector: str) -> None:
        """Waits until the page has it."""
        script = "(selector) => Boolean(document.querySelector(selector))"
        _patiently(f"find {selector}", lambda: self.window.run(script, selector))

    def run(self, script: str, *given: Any) -> Any:
        return self.window.run(script, *given)


def _patiently(what: str, done: Callable[[], bool]) -> None:
    deadline = time.monotonic() + PATIENCE_MS / 1000
    while time.monotonic() < deadline:
        if done():
            return
        time.sleep(0.05)
    raise AssertionError(f"could not {what}")
