"""What a load balancer and a monitor ask for. They come by the address of the machine and without
TLS, so `answer_probes` stands before everything that looks at host names."""

from collections.abc import Callable
from time import perf_counter

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.utils.crypto import constant_time_compare
from django.views.decorators.http import require_safe
from prometheus_client import CONTENT_TYPE_LATEST

from surveys.operations.metrics import metrics_text
from surveys.operations.readiness import readiness
from surveys.operations.request_metrics import count_request

_HEADERS = {"Cache-Control": "private, no-store", "X-Content-Type-Options": "nosniff"}


@login_not_required
@require_safe
def healthz(request: HttpRequest) -> HttpResponse:
    """This process answers. A database that is away is no reason to start it anew."""
    return HttpResponse("ok\n", content_type="text/plain; charset=utf-8", headers=_HEADERS)


@login_not_required
@require_safe
def readyz(request: HttpRequest) -> HttpResponse:
    """Each check by name; 503 while one of them fails. Open to all, so it gives no figures."""
    checks = readiness()
    return JsonResponse(
        {name: "ok" if is_fine else "failed" for name, is_fine in checks.items()},
        status=200 if all(checks.values()) else 503,
        headers=_HEADERS,
    )


@login_not_required
@require_safe
def metrics(request: HttpRequest) -> HttpResponse:
    """For whoever sends METRICS_TOKEN as a bearer token (RFC 6750, 2.1)."""
    sent = request.headers.get("Authorization", "")
    wanted = f"Bearer {settings.METRICS_TOKEN}"
    if not settings.METRICS_TOKEN or not constant_time_compare(sent, wanted):
        raise Http404
    return HttpResponse(metrics_text(), content_type=CONTENT_TYPE_LATEST, headers=_HEADERS)


def answer_probes(get_response: Callable[[HttpRequest], HttpResponse]) -> Callable:
    """The URL table lists the same views under the same paths. What is no probe is counted."""
    views = {"/healthz": healthz, "/readyz": readyz, "/metrics": metrics}

    def respond(request: HttpRequest) -> HttpResponse:
        view = views.get(request.path)
        if view is None:
            began = perf_counter()
            response = get_response(request)
            count_request(request.method, response.status_code, perf_counter() - began)
            return response
        try:
            return view(request)
        except Http404:
            return HttpResponse(status=404, headers=_HEADERS)

    return respond
