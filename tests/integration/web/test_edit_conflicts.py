"""Two coordinators have the same form open: the second to save is told, and loses nothing."""

import re

import pytest
from django.urls import reverse

from accounts.models import Role
from tests.support.builders import (
    make_checklist,
    make_member,
    make_route,
    make_version,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def ann(coordinator, client_for):
    coordinator.person.name = "Ann Alder"
    coordinator.person.save()
    return client_for(coordinator)


@pytest.fixture
def ben(program, client_for):
    member = make_member(program, Role.COORDINATOR)
    member.person.name = "Ben Birch"
    member.person.save()
    return client_for(member)


@pytest.fixture
def forms(program, observer):
    """Address, row, what Ann types, what Ben types, and what each is called in words."""
    route = make_route(program)
    stop = route.stops.first()
    make_checklist(program)
    entry = program.checklist.get()
    version = make_version(program)

    def at(name, **which):
        return reverse(f"web:{name}", kwargs={"program": program.slug, **which})

    return {
        "facts": (at("program_facts"), program, "region", "Reed Coast", "Fen Land", "Region"),
        "sharing": (at("sharing"), program, "place_sharing", "3", "1", "Locations are published"),
        "route": (
            at("program_route_edit", route=route.pk),
            route,
            "name",
            "North Fen",
            "South Fen",
            "Name",
        ),
        "stop": (
            at("program_stop", stop=stop.pk),
            stop,
            "notes",
            "Loose dog.",
            "Deep ditch.",
            "Notes",
        ),
        "entry": (
            at("program_entry", entry=entry.pk),
            entry,
            "sensitivity",
            "3",
            "1",
            "Sensitivity",
        ),
        "take off": (
            at("program_entry_take_off", entry=entry.pk),
            entry,
            "listed_until",
            "2025-06-30",
            "2025-05-31",
            "Listed until",
        ),
        "version": (
            at("program_version_edit", version=version.pk),
            version,
            "min_stops",
            "4",
            "7",
            "Minimum stops per visit",
        ),
        "window": (
            at("program_version_edit", version=version.pk),
            version,
            "windows-0-name",
            "Early",
            "Late",
            "Survey windows",
        ),
        "person": (
            at("people_person", membership=observer.pk),
            observer,
            "trained_on",
            "2025-03-01",
            "2025-04-01",
            "Trained on",
        ),
    }


KINDS = [
    "facts",
    "sharing",
    "route",
    "stop",
    "entry",
    "take off",
    "version",
    "window",
    "person",
]


def typed(client, address):
    """Every field of the page's main form as a browser would send it back."""
    html = client.get(address).content.decode()
    forms = re.findall(r"<form[^>]*>.*?</form>", html, re.DOTALL)
    (form,) = (form for form in forms if 'name="seen"' in form)
    data = {}
    for tag in re.findall(r"<input[^>]*>", form):
        attributes = dict(re.findall(r'([\w-]+)="([^"]*)"', tag))
        chooses = attributes.get("type") in {"checkbox", "radio"}
        if "name" in attributes and (not chooses or " checked" in tag):
            data.setdefault(attributes["name"], []).append(
                attributes.get("value", "on" if chooses else "")
            )
    for name, text in re.findall(r'<textarea[^>]*name="([^"]*)"[^>]*>(.*?)</textarea>', form, re.S):
        data[name] = text.strip()
    for name, options in re.findall(r'<select[^>]*name="([^"]*)"[^>]*>(.*?)</select>', form, re.S):
        chosen = re.search(r'value="([^"]*)"\s+selected', options)
        data[name] = chosen[1] if chosen else ""
    return data


def state(row):
    row = type(row).objects.get(pk=row.pk)
    windows = [window.name for window in row.windows.all()] if hasattr(row, "windows") else []
    fields = {field.attname: getattr(row, field.attname) for field in row._meta.concrete_fields}
    return fields, windows


def seen_again(page):
    return re.search(r'name="seen" value="([^"]*)"', page)[1]


@pytest.mark.parametrize("kind", KINDS)
def test_second_person_is_told_and_may_overwrite(forms, ann, ben, kind):
    address, row, field, hers, his, label = forms[kind]
    first, second = typed(ann, address) | {field: hers}, typed(ben, address) | {field: his}
    answer = ann.post(address, first)
    assert answer.status_code == 302, answer.context["form"].errors
    saved = state(row)

    refused = ben.post(address, second)
    shown = refused.content.decode()
    assert refused.status_code in {200, 422}
    assert f"Ann Alder changed “{label}” while you had this page open" in shown
    assert "Discard mine and keep the current version" in shown
    assert state(row) == saved
    assert refused.context["form"].data[field] == his

    on_top = second | {"seen": seen_again(shown)}
    assert ben.post(address, on_top).status_code == 302
    assert state(row) != saved


@pytest.mark.parametrize("kind", KINDS)
def test_saving_unchanged_values_is_no_conflict(forms, ann, ben, kind):
    address, _, field, hers, _, _ = forms[kind]
    before = typed(ben, address)
    assert ann.post(address, typed(ann, address) | {field: hers}).status_code == 302
    assert before["seen"] != [seen_again(ben.get(address).content.decode())]
    assert ben.post(address, typed(ben, address) | {field: hers}).status_code == 302


def test_another_form_of_the_same_row_is_no_conflict(forms, ann, ben):
    """Facts and sharing are two forms of one row."""
    facts, sharing = forms["facts"], forms["sharing"]
    second = typed(ben, sharing[0]) | {sharing[2]: "4"}
    ann.post(facts[0], typed(ann, facts[0]) | {facts[2]: facts[3]})
    assert ben.post(sharing[0], second).status_code == 302


def test_invalid_input_does_not_refresh_the_seen_facts(forms, ann, ben):
    address, row, field, hers, his, label = forms["route"]
    second = typed(ben, address) | {field: his, "code": "no code!"}
    wrong = ben.post(address, second).content.decode()
    ann.post(address, typed(ann, address) | {field: hers})
    mended = second | {"code": row.code, "seen": seen_again(wrong)}
    assert f"changed “{label}”" in ben.post(address, mended).content.decode()


def test_second_conflict_after_the_first(forms, ann, ben):
    address, row, field, hers, his, _ = forms["route"]
    second = typed(ben, address) | {field: his}
    ann.post(address, typed(ann, address) | {field: hers})
    again = second | {"seen": seen_again(ben.post(address, second).content.decode())}
    ann.post(address, typed(ann, address) | {field: "Third name"})
    assert b"Third name" in ben.post(address, again).content
    row.refresh_from_db()
    assert row.name == "Third name"


@pytest.mark.parametrize("seen", [None, "", "nonsense"])
def test_form_without_seen_facts_saves_nothing(forms, ben, seen):
    address, row, field, _, his, _ = forms["facts"]
    data = typed(ben, address) | {field: his}
    data = {name: value for name, value in data.items() if name != "seen"}
    shown = ben.post(address, data | ({} if seen is None else {"seen": seen})).content.decode()
    assert "We no longer know what this page showed" in shown
    row.refresh_from_db()
    assert row.region != his


def test_conflict_with_another_tab_of_the_same_person(forms, ann):
    address, _, field, hers, his, label = forms["route"]
    other = typed(ann, address) | {field: his}
    ann.post(address, typed(ann, address) | {field: hers})
    assert f"You changed “{label}” while" in ann.post(address, other).content.decode()
