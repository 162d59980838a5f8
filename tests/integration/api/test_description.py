"""The OpenAPI description is complete, and so is the page that shows it."""

import json

import pytest
from django.core.management import call_command

from surveys.api.urls import urlpatterns

METHODS = {"get", "put", "post", "patch", "delete"}


@pytest.fixture
def schema(client_for, observer):
    answer = client_for(observer).get("/api/schema/", headers={"Accept": "application/json"})
    assert answer.status_code == 200
    return json.loads(answer.content)


def test_description_is_valid_and_without_warnings(tmp_path):
    call_command(
        "spectacular", "--validate", "--fail-on-warn", "--file", str(tmp_path / "schema.yml")
    )


def test_every_url_is_described(schema):
    assert len(schema["paths"]) == len(urlpatterns) - 2  # the description and its page


def test_every_operation_has_a_description_and_error_responses(schema):
    for path, item in schema["paths"].items():
        for method in METHODS & item.keys():
            operation = item[method]
            assert operation["description"], (method, path)
            assert {"200", "201", "202", "204"} & operation["responses"].keys(), (method, path)
            if method != "get":
                assert {"400", "403", "404"} <= operation["responses"].keys(), (method, path)


def test_review_operations_require_a_revision(schema):
    for path, item in schema["paths"].items():
        if "/visits/{visit_id}/" in path and "post" in item:
            headers = [p for p in item["post"]["parameters"] if p["in"] == "header"]
            assert [(p["name"], p["required"]) for p in headers] == [("If-Match", True)], path


def test_only_signed_in_people_see_the_description(client):
    assert client.get("/api/schema/").status_code == 401
    answer = client.get("/api/docs/")
    assert answer.status_code == 302
    assert answer.headers["Location"].startswith("/accounts/login/")


def test_the_page_keeps_the_content_security_policy(client_for, observer):
    client = client_for(observer)
    page = client.get("/api/docs/")
    assert page.status_code == 200
    text = page.content.decode()
    assert "<style" not in text
    assert "<script>" not in text
    assert "//cdn" not in text
    assert "script-src 'self'" in page.headers["Content-Security-Policy"]
    script = client.get("/api/docs/?script=")
    assert script.headers["Content-Type"].startswith("application/javascript")
    assert b"/api/schema/" in script.content
