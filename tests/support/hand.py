"""A hand that clicks and types, and how long a person would need for it.

By the keystroke-level model of Card, Moran and Newell (The keystroke-level model for user
performance time with interactive systems, Comm. ACM 23:396-410, 1980; numbers from memory): to
think 1.35 s and to point 1.1 s before each click of 0.2 s, 0.28 s for each key of an average
typist. Reading and making up one's mind is not in it.
"""

from playwright.sync_api import Locator

CLICK_S, KEY_S = 1.35 + 1.1 + 0.2, 0.28


class Hand:
    """Clicks and types, and counts it."""

    def __init__(self) -> None:
        self.clicks = self.keys = 0

    def click(self, target: Locator) -> None:
        target.click()
        self.clicks += 1

    def type(self, target: Locator, text: str) -> None:
        self.click(target)
        target.fill(text)
        self.keys += len(text)

    def choose(self, target: Locator, **option: str) -> None:
        """From a list: it opens, and closes."""
        target.select_option(**option)
        self.clicks += 2

    @property
    def seconds(self) -> float:
        return self.clicks * CLICK_S + self.keys * KEY_S
