"""Citations and machine descriptions, read by parsers that are not ours.

BibTeX: bibtexparser. CSL-JSON: citeproc-py with the style it brings along; required
members `id` and `type` from csl-data.json of the CSL 1.0.2 schema (github.com/citation-style-
language/schema, from memory). JSON-LD 1.1: rdflib. Dataset: `name` and `description` are required,
`license`, `creator`, `distribution.contentUrl`, `identifier`, `version`, `temporalCoverage`,
`spatialCoverage`, `variableMeasured` recommended by developers.google.com/search/docs/appearance/
structured-data/dataset (from memory); all are properties of schema.org/Dataset.
"""

import dataclasses
import datetime as dt
import json
import socket
import warnings

import bibtexparser
import pytest
import rdflib
from bibtexparser.latexenc import latex_to_unicode

from surveys import dates
from surveys.publishing.citing import (
    LICENSE_URL,
    Cited,
    Distribution,
    bibtex,
    citation_text,
    csl,
    dataset_jsonld,
)

SCHEMA = rdflib.Namespace("https://schema.org/")
CITED = Cited(
    program="Fen & Moor Survey_50 % {north}",
    slug="fen-and-moor",
    title="Fen & Moor Survey: yearly table, season years 2013 to 2024",
    season_year=2024,
    version=2,
    published_at=dt.datetime(2024, 11, 3, 9, 30, tzinfo=dt.UTC),
    software="Duskpool 0.1.0",
    license="CC-BY-4.0",
    url="https://example.org/published/fen-and-moor/2024/2/",
)
FILE = Distribution(
    name="data/yearly.csv",
    meaning="Yearly table",
    media_type="text/csv; charset=utf-8",
    url="https://example.org/published/fen-and-moor/2024/2/files/data/yearly.csv",
    bytes=1234,
    sha256="ab" * 32,
)


@pytest.fixture
def no_network(monkeypatch):
    def refuse(*args: object) -> None:
        raise AssertionError("The network was asked.")

    monkeypatch.setattr(socket.socket, "connect", refuse)


def test_text_names_program_year_title_version_and_address():
    assert citation_text(CITED) == (
        "Fen & Moor Survey_50 % {north} (2024). Fen & Moor Survey: yearly table, season years "
        "2013 to 2024. Version 2, published 3 November 2024. Made with Duskpool 0.1.0. CC-BY-4.0. "
        "https://example.org/published/fen-and-moor/2024/2/"
    )


def test_text_dates_as_the_program_does():
    withdrawn = dataclasses.replace(CITED, withdrawn_at=dt.datetime(2025, 2, 1, 9, tzinfo=dt.UTC))
    with dates.using(dates.AMERICAN):
        text = citation_text(withdrawn)
    assert "Version 2, published November 3, 2024." in text
    assert text.endswith("Withdrawn February 1, 2025.")


def test_bibtexparser_reads_every_field_back():
    (entry,) = bibtexparser.loads(bibtex(CITED)).entries
    assert entry["ENTRYTYPE"] == "misc"
    assert entry["ID"] == "fen-and-moor-2024-v2"
    assert entry["year"] == "2024"
    assert entry["month"] == "November"  # the macro nov, spelled out
    assert entry["url"] == CITED.url
    assert entry["version"] == "2"
    assert latex_to_unicode(entry["title"].replace(r"\&", "&")).strip("{}") == CITED.title
    assert entry["author"] == (
        r"{Fen \& Moor Survey\_50 \% \textbraceleft{}north\textbraceright{}}"
    )


@pytest.mark.parametrize("sign", list("\\{}~^&%$#_"))
def test_every_tex_sign_in_a_name_stays_one_balanced_entry(sign: str):
    cited = dataclasses.replace(CITED, program=f"A {sign} B")
    (entry,) = bibtexparser.loads(bibtex(cited)).entries
    assert entry["year"] == "2024"
    assert entry["author"].startswith("{A \\")


def test_citeproc_renders_the_csl_item():
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from citeproc import (  # noqa: PLC0415 - warns on import
            Citation,
            CitationItem,
            CitationStylesBibliography,
            CitationStylesStyle,
            formatter,
        )
        from citeproc.source.json import CiteProcJSON  # noqa: PLC0415 - warns on import

        items = json.loads(json.dumps(csl(CITED)))
        assert {"id", "type"} <= items[0].keys()
        style = CitationStylesStyle("harvard-cite-them-right", validate=False)
        snapshot = CitationStylesBibliography(style, CiteProcJSON(items), formatter.plain)
        snapshot.register(Citation([CitationItem(CITED.key)]))
        (line,) = map(str, snapshot.bibliography())
    assert CITED.program in line
    assert "2024" in line
    assert "season years 2013 to 2024" in line


@pytest.mark.filterwarnings("ignore::DeprecationWarning:rdflib")
def test_rdflib_reads_the_dataset_as_triples(no_network):
    text = json.dumps(
        dataset_jsonld(
            CITED,
            description="Yearly tables of calling surveys.",
            first_year=2013,
            files=[FILE],
            variables=["call index"],
            region="North Fen",
            contact_email="desk@example.org",
            superseded=True,
        )
    )
    graph = rdflib.Graph().parse(data=text, format="json-ld")
    (dataset,) = graph.subjects(rdflib.RDF.type, SCHEMA.Dataset)
    assert str(dataset) == CITED.url

    def value(name: str):
        return graph.value(dataset, SCHEMA[name])

    assert {
        name: str(value(name))
        for name in ("name", "version", "license", "temporalCoverage", "identifier", "url")
    } == {
        "name": CITED.title,
        "version": "2",
        "license": LICENSE_URL["CC-BY-4.0"],
        "temporalCoverage": "2013/2024",
        "identifier": CITED.url,
        "url": CITED.url,
    }
    assert str(value("description")) == "Yearly tables of calling surveys."
    assert str(value("datePublished")) == "2024-11-03"
    assert str(value("variableMeasured")) == "call index"
    assert str(graph.value(value("spatialCoverage"), SCHEMA.name)) == "North Fen"
    assert str(graph.value(value("creator"), SCHEMA.name)) == CITED.program
    assert str(graph.value(value("publisher"), SCHEMA.email)) == "desk@example.org"
    download = value("distribution")
    assert graph.value(download, rdflib.RDF.type) == SCHEMA.DataDownload
    assert str(graph.value(download, SCHEMA.contentUrl)) == FILE.url
    assert str(graph.value(download, SCHEMA.sha256)) == FILE.sha256
    assert str(graph.value(download, SCHEMA.encodingFormat)) == "text/csv"


def test_the_dataset_names_nobody_and_no_address_unless_given():
    facts = dataset_jsonld(CITED, description="…", first_year=2024, files=[])
    assert "email" not in json.dumps(facts)
    assert "Person" not in json.dumps(facts)
