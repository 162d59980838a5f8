"""Browsers of phones that stay open from test to test, and forget in between.

The service worker and the files of the survey that it keeps stay in them; cookies, what is stored
and what is permitted are of one test.
"""

from collections.abc import Sequence
from typing import Any

from playwright.sync_api import Browser, BrowserContext

_FORGOTTEN = "cookies,indexeddb,local_storage"


class KeptPhones:
    def __init__(self, browser: Browser) -> None:
        self._browser = browser
        self._contexts: dict[str, BrowserContext] = {}

    def take(self, name: str, scripts: Sequence[str] = (), **options: Any) -> BrowserContext:
        """The browser of that name with one empty page, as `new_context` makes it with these
        options, which are the same each time but for permissions; `scripts` run in its pages."""
        if name not in self._contexts:
            self._contexts[name] = self._browser.new_context(**options)
            for script in scripts:
                self._contexts[name].add_init_script(script)
        context = self._contexts[name]
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

    @staticmethod
    def lay_down(context: BrowserContext) -> None:
        """No page goes on talking to the server; the browser stays."""
        context.unroute_all()
        for page in context.pages:
            page.close()

    def close(self) -> None:
        for context in self._contexts.values():
            context.close()
