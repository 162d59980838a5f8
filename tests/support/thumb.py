"""A thumb on a phone: it presses only what is wholly in view, and counts."""

import time

from playwright.sync_api import Locator, Page

# Two taps on one place within this time are a double tap, which the survey takes as one.
_PACE_S = 0.6

# The middle of an element that the window shows whole and nothing covers, else why not.
_WITHIN_REACH = """(one) => {
  const { left, right, top, bottom } = one.getBoundingClientRect();
  const [x, y] = [(left + right) / 2, (top + bottom) / 2];
  const isWhole = left >= 0 && top >= 0 && right <= innerWidth && bottom <= innerHeight;
  const above = document.elementFromPoint(x, y);
  if (isWhole && one.contains(above)) return { x, y };
  return { why: isWhole ? `under ${above?.outerHTML.slice(0, 80)}` : `at ${left}, ${top}` };
}"""


class Thumb:
    """Never scrolls: what it cannot reach fails the test."""

    def __init__(self, page: Page):
        self.page, self.taps = page, 0
        self._last = time.monotonic()

    def tap(self, one: Locator) -> None:
        one.wait_for()
        place = one.evaluate(_WITHIN_REACH)
        assert "why" not in place, f"{one} is out of reach: {place['why']}"
        time.sleep(max(0, self._last + _PACE_S - time.monotonic()))
        self.page.touchscreen.tap(place["x"], place["y"])
        self._last = time.monotonic()
        self.taps += 1

    def press(self, words: str, **options: bool) -> None:
        self.tap(self.page.get_by_role("button", name=words, **options).first)

    def hear(self, species: str) -> None:
        self.tap(self.page.locator(f'[data-species="{species}"]'))
