"""What a load balancer and a monitor ask for. They come by the address of the machine and without
TLS, so `answer_probes` stands before everything that looks at host names."""

from collections.abc import Callable

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.views.decorators.http import require_safe


@login_not_required
@require_safe
def healthz(request: HttpRequest) -> HttpResponse:
    """This process answers. A database that is away is no reason to start it anew."""
    return _plain("ok\n")


def answer_probes(get_response: Callable[[HttpRequest], HttpResponse]) -> Callable:
    """The URL table lists the same views under the same paths."""
    views = {"/healthz": healthz}

    def respond(request: HttpRequest) -> HttpResponse:
        view = views.get(request.path)
        return view(request) if view else get_response(request)

    return respond


def _plain(text: str) -> HttpResponse:
    headers = {"Cache-Control": "no-store", "X-Content-Type-Options": "nosniff"}
    return HttpResponse(text, content_type="text/plain; charset=utf-8", headers=headers)
