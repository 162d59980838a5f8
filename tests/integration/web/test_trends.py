"""Trends on the screen and as a file."""

import csv
import datetime as dt
import html
import io
import re

import pytest
from django.urls import reverse

from surveys.charts.words import share
from surveys.publishing.method import CAVEATS
from surveys.trends.columns import COLUMNS
from surveys.web.trends import yearly
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_member,
    make_program,
    make_route,
    make_species,
)

pytestmark = pytest.mark.django_db


def url(name, program, **query):
    return reverse(f"web:{name}", kwargs={"program": program.slug}, query=query or None)


@pytest.fixture
def visits(program, observer):
    make_species("Pseudacris crucifer", "Spring peeper")
    make_species("Anaxyrus americanus", "American toad")
    peeper, toad = make_checklist(program, "Pseudacris crucifer", "Anaxyrus americanus")
    route = make_route(program, stops=4)
    for year, heard in ((2023, {}), (2024, {1: {peeper: 2}, 2: {peeper: 1, toad: 3}})):
        make_accepted_visit(route, observer.person, night=dt.date(year, 4, 2), heard=heard)


def page_table(response):
    text = response.content.decode()
    text = text[text.index("trend-table") :]
    head = re.search(r"<thead>(.*?)</thead>", text, re.DOTALL).group(1)
    body = re.search(r"<tbody>(.*?)</tbody>", text, re.DOTALL).group(1)

    def cells(row):
        found = re.findall(r"<t[hd].*?>(.*?)</t[hd]>", row, re.DOTALL)
        return [" ".join(html.unescape(re.sub(r"<[^>]+>", "", cell)).split()) for cell in found]

    return cells(head), [cells(row) for row in re.findall(r"<tr>(.*?)</tr>", body, re.DOTALL)]


def csv_table(response):
    return list(csv.reader(io.StringIO(response.content.decode("utf-8"), newline="")))


HEADS = [
    *("Species", "Season year", "Routes", "Stops", "Visits", "Listening periods"),
    *(
        "Stops where heard",
        "Uncorrected occupancy",
        "Uncorrected, lower limit",
        "Uncorrected, upper limit",
    ),
    *("Share at index 1", "Share at index 2", "Share at index 3", "Mean index"),
    *("First night", "Last night", "Flags"),
]


@pytest.mark.parametrize(
    "query", [{}, {"species": "pseudacris-crucifer"}, {"since": "2024"}, {"until": "2023"}]
)
def test_file_holds_the_table_of_the_page(program, visits, partner, client_for, query):
    client = client_for(partner)
    head, rows = page_table(client.get(url("trends", program, **query)))
    header, *lines = csv_table(client.get(url("trends_csv", program, **query)))
    assert header == [column.name for column in COLUMNS]
    assert head == HEADS
    assert [as_on_screen(header, line) for line in lines] == rows
    assert lines


FLAGS_ON_SCREEN = {
    "": "–",
    "too-few-data": "too few data",
    "too-few-data; never-heard": "too few data; never heard",
}


def as_on_screen(header, line):
    """Common name beside the scientific one; shares in percent, as a file has them to four
    places; dates as the program writes them; flags in words; everything else as it stands."""
    name = {"Pseudacris crucifer": "Spring peeper", "Anaxyrus americanus": "American toad"}[line[0]]
    shares = {column.name for column in COLUMNS if column.maximum == 1}
    cells = [f"{name} {line[0]}"]
    for column, text in zip(header[1:], line[1:], strict=True):
        if column in shares and text:
            cells.append(share(float(text)))
        elif column in ("first_night", "last_night") and text:
            night = dt.date.fromisoformat(text)
            cells.append(f"{night.day} {night:%b %Y}")
        elif column == "flags":
            cells.append(FLAGS_ON_SCREEN[text])
        else:
            cells.append(f"{float(text):.2f}" if column == "mean_index" and text else text)
    return cells


def test_a_long_table_has_pages_and_its_file_has_every_row(
    program, visits, partner, client_for, monkeypatch
):
    client = client_for(partner)
    _, whole = page_table(client.get(url("trends", program)))
    monkeypatch.setattr(yearly, "ROWS_PER_PAGE", 3)
    pages = [client.get(url("trends", program, page=number)) for number in (1, 2)]
    shown = [page_table(page)[1] for page in pages]
    assert [len(rows) for rows in shown] == [3, len(whole) - 3]
    assert [*shown[0], *shown[1]] == whole
    assert "page=2" in pages[0].content.decode()
    file = url("trends_csv", program)
    assert f'href="{file}"' in pages[1].content.decode()
    assert len(csv_table(client.get(file))) == 1 + len(whole)


def test_one_row_by_hand(program, visits, partner, client_for):
    """Peeper 2024: 2 of 4 stops; Wilson limits 0.1500 and 0.8500 (Newcombe 1998, method 3:
    (2·2 + 3.8415 ± 1.96·sqrt(3.8415 + 4·2·0.5)) / (2·(4 + 3.8415)))."""
    response = client_for(partner).get(
        url("trends_csv", program, species="pseudacris-crucifer", since="2024")
    )
    _, row = csv_table(response)
    assert row == [
        "Pseudacris crucifer", "2024", "1", "4", "1", "4", "2",
        "0.5000", "0.1500", "0.8500", "0.2500", "0.2500", "0.0000", "0.7500",
        "2024-04-02", "2024-04-02", "too-few-data",
    ]  # fmt: skip
    assert response["Content-Type"] == "text/csv; charset=utf-8; header=present"
    assert response["Content-Disposition"] == (
        f'attachment; filename="{program.slug}-yearly-table-pseudacris-crucifer-from-2024.csv"'
    )


def test_dictionary_explains_every_column_of_the_file(program, visits, partner, client_for):
    client = client_for(partner)
    header, *_ = csv_table(client.get(url("trends_csv", program)))
    _, *rows = csv_table(client.get(url("trends_dictionary", program)))
    assert [row[0] for row in rows if not row[1]] == header
    assert "too-few-data" in [row[1] for row in rows]
    assert all(row[4] for row in rows)


def test_caveats_stand_under_the_table(program, visits, partner, client_for):
    text = html.unescape(client_for(partner).get(url("trends", program)).content.decode())
    for caveat in CAVEATS:
        assert caveat in text
    assert reverse("web:guide_page", kwargs={"slug": "trend-method"}) in text


def test_empty_program(program, partner, client_for):
    client = client_for(partner)
    assert "No numbers yet" in client.get(url("trends", program)).content.decode()
    assert len(csv_table(client.get(url("trends_csv", program)))) == 1


@pytest.mark.parametrize("name", ["trends", "trends_csv", "trends_dictionary"])
def test_strangers_may_not(program, client_for, client, name):
    stranger = make_member(make_program())
    assert client_for(stranger).get(url(name, program)).status_code == 404
    assert client.get(url(name, program)).status_code == 302


@pytest.mark.parametrize(("name", "queries"), [("trends", 22), ("trends_csv", 10)])
def test_query_count_does_not_grow(
    program, visits, observer, client_for, django_assert_num_queries, name, queries
):
    client = client_for(observer)
    client.get(url(name, program))
    for _ in range(2):
        with django_assert_num_queries(queries):
            client.get(url(name, program))
        route = make_route(program, stops=4)
        make_accepted_visit(route, observer.person, night=dt.date(2022, 4, 2))
