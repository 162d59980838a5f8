"""Phones that stay open from test to test, and forget in between.

The service worker and the files of the survey that it keeps stay on them; cookies, what is stored
and what is permitted are of one test.
"""

from collections.abc import Sequence
from typing import Any

from playwright.sync_api import Browser, BrowserContext, Page
from playwright.sync_api import TimeoutError as PlaywrightTimeout

_FORGOTTEN = "cookies,indexeddb,local_storage"
_CLOSED_WITHIN_MS = 20_000


class KeptPhones:
    def __init__(self) -> None:
        self._contexts: dict[tuple[Browser, str], BrowserContext] = {}

    def take(
        self, browser: Browser, name: str, scripts: Sequence[str] = (), **options: Any
    ) -> BrowserContext:
        """The phone of that name in the browser, with one empty page, as `new_context` makes it
        with these options, which are the same each time but for permissions; `scripts` run in its
        pages."""
        key = browser, name
        if key not in self._contexts:
            self._contexts[key] = browser.new_context(**options)
            for script in scripts:
                self._contexts[key].add_init_script(script)
        context = self._contexts[key]
        session = context.new_cdp_session(context.new_page())
        forget = {"origin": options["base_url"], "storageTypes": _FORGOTTEN}
        session.send("Storage.clearDataForOrigin", forget)
        session.detach()
        context.clear_cookies()
        context.clear_permissions()
        context.grant_permissions(options.get("permissions", []))
        context.set_geolocation(options.get("geolocation"))
        context.set_offline(False)
        return context

    def lay_down(self, context: BrowserContext) -> None:
        """No page goes on talking to the server; the browser stays.

        Rarely, Chromium does not close a page that it was told to close. Then the next test gets a
        new phone, or every one that takes this phone would wait for that page."""
        context.unroute_all()
        closed = [_closes(page) for page in context.pages]
        if not all(closed):
            self._contexts = {at: kept for at, kept in self._contexts.items() if kept != context}

    def close(self) -> None:
        for context in self._contexts.values():
            context.close()


def _closes(page: Page) -> bool:
    """Whether the page is gone in time: `close` alone would wait for ever."""
    try:
        with page.expect_event("close", timeout=_CLOSED_WITHIN_MS):
            page.close(run_before_unload=True)
    except PlaywrightTimeout:
        return False
    return True
