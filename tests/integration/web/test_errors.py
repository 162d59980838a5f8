"""What goes wrong outside of a view is said to people on a page, to programs in JSON."""

import errno
import uuid

import psycopg
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from surveys.api.views import visits
from surveys.web.errors import server_error
from surveys.web.home import views as home

pytestmark = pytest.mark.django_db


@pytest.fixture
def client(client_for, observer):
    client = client_for(observer)
    client.raise_request_exception = False
    return client


def breaks(*arguments, **facts):
    raise RuntimeError("broken")


def test_an_error_of_ours(client, program, monkeypatch):
    monkeypatch.setattr(visits, "visible_visits", breaks)
    response = client.get(f"/api/v1/{program.slug}/visits/")
    assert response.status_code == 500
    assert response.json()["detail"].startswith("Something went wrong on our end.")
    monkeypatch.setattr(home, "may", breaks)
    response = client.get("/")
    assert response.status_code == 500
    assert "Something went wrong on our end" in response.content.decode()


@pytest.mark.parametrize("template", ["500.html", "503.html", "507.html"])
def test_an_error_keeps_the_night(rf, template):
    """Its page is made without the session, and the theme is no part of it."""
    wrong = {
        "500.html": ValueError(),
        "503.html": psycopg.OperationalError(),
        "507.html": OSError(errno.ENOSPC, "full"),
    }[template]
    request = rf.get("/")
    request.COOKIES["theme"] = "night"
    try:
        raise wrong
    except Exception:  # noqa: BLE001 - whatever it is
        page = server_error(request)
    assert page.status_code == int(template[:3])
    assert 'data-theme="night"' in page.content.decode()


def test_an_address_that_is_not_there(client):
    response = client.get("/api/v1/nothing/at/all/")
    assert (response.status_code, response.json()) == (
        404,
        {"detail": "There is no such address here."},
    )
    assert "Page not found" in client.get("/nothing/at/all/").content.decode()


def test_a_host_that_is_not_ours(client, settings):
    settings.ALLOWED_HOSTS = ["surveys.example.org"]
    response = client.get("/api/schema/", headers={"Host": "elsewhere.example"})
    assert response.status_code == 400
    assert "cannot be read" in response.json()["detail"]


def test_a_form_that_is_too_large(client, settings):
    settings.DATA_UPLOAD_MAX_MEMORY_SIZE = 1000
    response = client.post("/theme", {"theme": "x" * 2000})
    assert response.status_code == 413
    assert "That is too large to send" in response.content.decode()


def test_a_file_that_is_too_large_is_not_read(client, observer, settings):
    settings.MOST_BYTES_OF_A_FORM = 1000
    settings.FILE_UPLOAD_TEMP_DIR = "/nowhere"
    file = SimpleUploadedFile("a.wav", bytes(3 * 1024 * 1024))
    path = f"/{observer.program.slug}/sheets/{uuid.uuid4()}/recordings"
    response = client.post(path, {"sound": file})
    assert response.status_code == 413
    assert "That is too large to send" in response.content.decode()


def test_the_pages_need_no_session():
    response = Client().get("/a%00b/")
    assert response.status_code == 400
    assert "We could not read that" in response.content.decode()
