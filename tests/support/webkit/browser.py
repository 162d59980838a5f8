#!/usr/bin/python3
"""A window of WebKit that WebDriver drives: WebKitGTK as Debian ships it, of its usual settings.

It keeps its data in the folder that is its first argument, allows whatever a page asks for, and is
where the other three say: latitude, longitude, accuracy in meters.

Runs on the system's Python, which has WebKit's bindings (gir1.2-webkit2-4.1).
"""

import signal
import sys
from collections.abc import Sequence

import gi

gi.require_version("Gtk", "3.0")
gi.require_version("WebKit2", "4.1")

from gi.repository import GLib, Gtk, WebKit2  # noqa: E402

WIDTH, HEIGHT = 390, 844
# Experimental in GTK's build only: on phones, WebKit has them since 14.3 and 11.
FEATURES = ("MediaRecorderEnabled",)


def settings() -> WebKit2.Settings:
    made = WebKit2.Settings(
        enable_media_stream=True, enable_mock_capture_devices=True, enable_developer_extras=True
    )
    features = WebKit2.Settings.get_all_features()
    for feature in (features.get(at) for at in range(features.get_length())):
        if feature.get_identifier() in FEATURES:
            made.set_feature_enabled(feature, True)
    return made


class Browser:
    def __init__(self, folder: str, place: Sequence[float]) -> None:
        self._place = place
        data = WebKit2.WebsiteDataManager(
            base_data_directory=f"{folder}/data", base_cache_directory=f"{folder}/cache"
        )
        cookies = data.get_cookie_manager()
        cookies.set_persistent_storage(
            f"{folder}/cookies.sqlite", WebKit2.CookiePersistentStorage.SQLITE
        )
        self._context = WebKit2.WebContext(website_data_manager=data)
        self._context.set_automation_allowed(True)
        self._context.connect("automation-started", self._on_automation)
        self._context.get_geolocation_manager().connect("start", self._on_locating)

    def _on_automation(self, context, session) -> None:
        about = WebKit2.ApplicationInfo()
        about.set_name("WebKitGTK")
        version = WebKit2.get_major_version(), WebKit2.get_minor_version()
        about.set_version(*version, WebKit2.get_micro_version())
        session.set_application_info(about)
        session.connect("create-web-view", lambda _: self._open())

    def _on_locating(self, manager) -> bool:
        def tell() -> bool:
            manager.update_position(WebKit2.GeolocationPosition.new(*self._place))
            return GLib.SOURCE_REMOVE

        GLib.idle_add(tell)
        return True

    def _open(self) -> WebKit2.WebView:
        view = WebKit2.WebView(
            web_context=self._context, settings=settings(), is_controlled_by_automation=True
        )
        view.connect("permission-request", lambda _, asked: asked.allow() or True)
        window = Gtk.Window(default_width=WIDTH, default_height=HEIGHT)
        window.add(view)
        view.connect("close", lambda _: window.destroy())
        window.show_all()
        return view


def main() -> None:
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    browser = Browser(sys.argv[1], [float(one) for one in sys.argv[2:5]])  # noqa: F841 - it lives
    Gtk.main()


main()
