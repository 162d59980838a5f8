"""security.txt against RFC 9116, "A File Format to Aid in Security Vulnerability Disclosure"
(2022), sections 2.2 to 2.5, 3 and 4. The grammar is from memory; on 2026-11-30 the package sectxt
0.9.8 found no fault in the text of the same view.
"""

import datetime as dt
import re

import pytest

from surveys.web.security_txt import check_expires

FIELD = re.compile(r"(?P<name>[A-Za-z-]+): (?P<value>\S.*)")
# section 4: fs is %x20, lines end with LF or CRLF; RFC 3339 date-time; RFC 3986 scheme.
DATE_TIME = re.compile(r"\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}(\.\d+)?(Z|[+-]\d{2}:\d{2})")
URI = re.compile(r"(mailto:[^@\s]+@[^@\s]+|tel:\+?[\d-]+|https://\S+)")


def fields_of(response) -> list[tuple[str, str]]:
    lines = response.content.decode("utf-8").split("\r\n")
    assert lines.pop() == ""
    return [FIELD.fullmatch(line).group("name", "value") for line in lines]


def test_the_fields_of_the_standard(client, settings):
    response = client.get("/.well-known/security.txt", secure=True, headers={"host": "a.example"})
    # section 3: text/plain with the charset utf-8
    assert response["Content-Type"] == "text/plain; charset=utf-8"
    fields = fields_of(response)
    names = [name for name, _ in fields]
    values = dict(fields)
    # section 2.5.3: at least one Contact, a URI, in the order of preference
    contacts = [value for name, value in fields if name == "Contact"]
    assert contacts == ["mailto:security@surveys.example", "https://surveys.example/report"]
    assert all(URI.fullmatch(contact) for contact in contacts)
    # section 2.5.5: one Expires, not in the past, better less than a year ahead
    assert names.count("Expires") == 1
    assert DATE_TIME.fullmatch(values["Expires"])
    left = dt.datetime.fromisoformat(values["Expires"]) - dt.datetime.now(dt.UTC)
    assert dt.timedelta(0) < left < dt.timedelta(days=366)
    # section 2.5.2: where the file is found, by https; section 2.5.8: RFC 5646 tags
    assert values["Canonical"] == "https://a.example/.well-known/security.txt"
    assert names.count("Preferred-Languages") == 1
    assert re.fullmatch(r"[a-z]{2}(, [a-z]{2})*", values["Preferred-Languages"])


def test_without_a_contact_there_is_none(client, settings):
    settings.SECURITY_CONTACTS = []
    assert client.get("/.well-known/security.txt").status_code == 404
    assert check_expires() == []


@pytest.mark.parametrize(("days", "words"), [(-1, "is past"), (400, "a year away"), (90, None)])
def test_the_operator_is_warned_of_a_day_that_makes_it_void(settings, days, words):
    settings.SECURITY_EXPIRES = dt.datetime.now(dt.UTC) + dt.timedelta(days=days)
    told = [warning.msg for warning in check_expires()]
    assert [words in one for one in told] == ([True] if words else [])
