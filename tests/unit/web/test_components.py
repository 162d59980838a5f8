"""The tags of the small components, as pages show them."""

import re

import pytest
from django.template import Context, Template


def words(markup: str, **context: object) -> str:
    """What a reader of the page gets, without tags and double spaces."""
    html = Template(markup).render(Context(context))
    return " ".join(re.sub("<[^>]+>", "", html).split())


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        (0, "call index 0"),
        (3, "call index 3"),
        ("2", "call index 2"),
        ("not-sure", "?heard, not sure, or not recorded"),
        ("not-reached", "–not reached"),
        ("skipped", "–not reached"),
        (None, "–no record"),
        ("", "–no record"),
    ],
)
def test_call_index(value: object, shown: str):
    assert words("{% call_index value %}", value=value) == shown


@pytest.mark.parametrize(
    ("tag", "shown"),
    [
        ("{% severity 'query' %}", "Question"),
        ("{% severity 'query' count=1 %}", "1 Question"),
        ("{% severity 'query' count=2 %}", "2 Questions"),
        ("{% severity 'note' count=3 %}", "3 Notes"),
        ("{% severity 'refuse' count=2 %}", "2 Must fix"),
    ],
)
def test_severity(tag: str, shown: str):
    assert words(tag) == shown


def test_visit_state():
    assert words("{% visit_state 'sent_back' %}") == "Sent back"
    with pytest.raises(ValueError, match="lost"):
        words("{% visit_state 'lost' %}")


def test_a_component_sees_only_what_it_is_given():
    page = {"label": "of the page", "class": "of-the-page", "large": True}
    html = Template("{% icon 'note' %}{% call_index 1 %}").render(Context(page))
    assert "page" not in html
    assert "ci--large" not in html


def test_map_has_its_data_and_the_sources_of_its_ground():
    base_map = {"land": "/map/land.pmtiles?v=1", "tiles": "/tiles/{z}/{x}/{y}.png"}
    context = {"data": {"features": [{}]}, "base_map": base_map}
    html = Template("{% map_of data 'Map of the stops' %}").render(Context(context))
    assert 'data-label="Map of the stops"' in html
    assert 'data-land="/map/land.pmtiles?v=1"' in html
    assert 'data-tiles="/tiles/{z}/{x}/{y}.png"' in html
    assert '{"features": [{}]}' in html


def test_a_map_without_places_is_a_sentence():
    context = {"data": {"features": []}, "base_map": {}}
    html = Template("{% map_of data 'Map of the stops' %}").render(Context(context))
    assert html.strip() == '<p class="muted">Nothing to show on the map yet.</p>'
