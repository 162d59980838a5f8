"""Pages of results and reads of the API are answered by the read replica where there is one:
surveys/replica.py. Never a page on which somebody works, nor one of the phone."""

from collections.abc import Callable

from django.conf import settings
from django.core.exceptions import MiddlewareNotUsed
from django.db import DatabaseError
from django.http import HttpRequest, HttpResponse

from surveys import replica

# The position that the person's last change had reached. A browser that lost it sees the change
# within replica.BEHIND_S.
COOKIE = "saved_up_to"
_KEPT_S = 3600
_SAFE = ("GET", "HEAD", "OPTIONS")

READ_THERE = frozenset(
    {
        *(f"web:season{name}" for name in ("s", "s_csv", "_changed", "_changed_csv")),
        *(f"web:season_coverage{name}" for name in ("", "_csv")),
        *(f"web:season_visits{name}" for name in ("", "_csv")),
        "web:season_map",
        *(f"web:trends{name}" for name in ("", "_csv", "_dictionary")),
        *(f"web:trend_{name}" for name in ("species", "species_csv", "species_checks", "chart")),
        *(f"web:trend_compare{name}" for name in ("", "_chart")),
        # No files of publications: those of one that is withdrawn are closed at once.
        *(f"web:publication{name}" for name in ("s", "", "_changes")),
        *(
            f"web:published{name}{by_link}"
            for name in ("", "_index", "_year", "_version", "_version_index", "_dataset",
                         "_citation")
            for by_link in ("", "_by_link")
        ),
        *(
            f"api:records_{name}"
            for name in ("visits", "stopped_counting", "periods", "own_values", "calls", "routes",
                         "stops", "stops_geojson", "changes", "station_weather", "water")
        ),
        *(
            f"api:{name}"
            for name in ("route_years", "coverage", "trends", "species_trends", "sighting_shares",
                         "publications", "publication")
        ),
    }
)  # fmt: skip


class ReplicaMiddleware:
    """The last one of MIDDLEWARE: who asks has been found out by then, on the primary."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        if not replica.is_set():
            raise MiddlewareNotUsed
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        if request.method not in _SAFE:
            self._note_position(response)
        return response

    def process_view(
        self, request: HttpRequest, view: Callable[..., HttpResponse], args: tuple, kwargs: dict
    ) -> HttpResponse | None:
        """The answer of the replica, or None: then the view is called as ever."""
        match = request.resolver_match
        if request.method not in ("GET", "HEAD") or match.view_name not in READ_THERE:
            return None
        request.user.is_authenticated  # noqa: B018 - the session and the person are read here
        saved = request.COOKIES.get(COOKIE, "")
        if not replica.follower.has(saved if replica.is_position(saved) else None):
            return None
        try:
            with replica.read_there():
                response = view(request, *args, **kwargs)
                if hasattr(response, "render"):
                    response.render()
        # A replica that is gone, a write that it refuses, a read that it broke off to follow on;
        # and what is wrong with the page itself is wrong on the primary, too, and told there.
        except Exception as error:  # noqa: BLE001
            if isinstance(error, DatabaseError):
                replica.log.warning("Read on the primary instead: %s", error)
            return None
        return response if response.status_code < 500 else None

    def _note_position(self, response: HttpResponse) -> None:
        try:
            position = replica.position_now()
        except DatabaseError:
            return
        response.set_cookie(
            COOKIE,
            position,
            max_age=_KEPT_S,
            secure=settings.SESSION_COOKIE_SECURE,
            httponly=True,
            samesite="Lax",
        )
