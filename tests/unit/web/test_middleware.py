import pytest
from django.http import HttpResponse
from django.test import RequestFactory

from surveys.web.middleware import light_static_files

HEADERS = {
    "Cross-Origin-Opener-Policy": "same-origin",
    "Referrer-Policy": "same-origin",
    "Last-Modified": "Mon, 15 Apr 2024 12:00:00 GMT",
    "X-Content-Type-Options": "nosniff",
}


@pytest.mark.parametrize(
    ("path", "etag", "is_light"),
    [
        ("/static/survey/app.js", '"1"', True),
        ("/static/survey/app.js", None, False),
        ("/guide/", '"1"', False),
    ],
)
def test_static_files_carry_fewer_headers(path, etag, is_light):
    def answer(request):
        return HttpResponse(headers=HEADERS | ({"ETag": etag} if etag else {}))

    headers = light_static_files(answer)(RequestFactory().get(path)).headers
    assert headers["X-Content-Type-Options"] == "nosniff"
    for name in ("Cross-Origin-Opener-Policy", "Referrer-Policy", "Last-Modified"):
        assert (name not in headers) is is_light
