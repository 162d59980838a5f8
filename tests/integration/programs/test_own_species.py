"""Species that a program adds for itself: names that stay unique, renames, splits."""

import datetime as dt
from dataclasses import replace

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.http import Http404
from django.urls import reverse

from accounts.edit_conflicts import EditConflict, Seen
from accounts.models import Role
from surveys.demo.catalog import load_species
from surveys.models import ChecklistEntry, Sensitivity, Species
from surveys.programs.checklist import Listing, add_species, search_catalog
from surveys.programs.history import HistoryFilters, history
from surveys.programs.own_species import (
    Names,
    add_own_species,
    change_own_species,
    delete_own_species,
    names_facts,
)
from surveys.protocol.values import MonthDay
from surveys.visits.loading import species_catalog
from surveys.web.survey.packets import route_packet
from tests.support.builders import (
    make_accepted_visit,
    make_member,
    make_program,
    make_route,
    make_species,
)

pytestmark = pytest.mark.django_db
EVENING = dt.datetime(2024, 4, 15, 23, tzinfo=dt.UTC)
REED = Names(
    scientific_name="Hyperolius lacustris",
    common_name="Lake reed frog",
    synonyms=("Rappia lacustris",),
    call="short dry click",
    note="from floating leaves",
)
LISTING = Listing(
    season=(MonthDay(month=11, day=1), MonthDay(month=2, day=28)), sensitivity=Sensitivity.HIGH
)


@pytest.fixture
def reed(coordinator):
    return add_own_species(coordinator, REED, LISTING).species


def refusal(verb, *arguments):
    with pytest.raises(ValidationError) as refused:
        verb(*arguments)
    return refused.value.message_dict


def catalog_of(program):
    rows = {row.code: row for row in Species.objects.known_to(program)}
    return species_catalog(rows)


def test_it_is_on_the_checklist_with_season_and_sensitivity(coordinator, reed):
    entry = ChecklistEntry.objects.get(species=reed)
    assert (entry.calling_season, entry.sensitivity) == (LISTING.season, Sensitivity.HIGH)
    assert (reed.scientific_name, reed.name) == ("Hyperolius lacustris", "Lake reed frog")
    assert (reed.told_call, reed.told_note) == ("short dry click", "from floating leaves")


def test_the_phone_has_it(coordinator, program, reed):
    route = make_route(program, stops=1)
    packet = route_packet(coordinator, route.code, EVENING)
    (species,) = packet["species"]
    assert (species["code"], species["call"]) == (reed.code, "short dry click")


def test_no_other_program_sees_it(coordinator, reed):
    other = make_member(make_program(), Role.COORDINATOR)
    assert search_catalog(other.program, "reed frog") == []
    assert "rappia lacustris" not in catalog_of(other.program)
    route = make_route(other.program, stops=1)
    assert route_packet(other, route.code, EVENING)["others"] == []
    with pytest.raises(Http404):
        add_species(other, reed.code, Listing())
    with pytest.raises(Http404):
        change_own_species(other, reed.code, REED)
    # And may have one of the same name.
    theirs = add_own_species(other, REED, Listing()).species
    assert theirs.code != reed.code


def test_only_coordinators(program):
    with pytest.raises(PermissionDenied):
        add_own_species(make_member(program), REED, LISTING)


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"scientific_name": "Pseudacris crucifer"}, "scientific_name"),
        ({"common_name": "SPRING PEEPER"}, "common_name"),
        ({"synonyms": ("Pseudacris crucifer",)}, "synonyms"),
        ({"scientific_name": "Hyla sp. 2 (Smith, 1901)"}, "scientific_name"),
        ({"synonyms": ("x" * 121,)}, "synonyms"),
        ({"members": frozenset({"no-such-frog"})}, "members"),
    ],
)
def test_a_name_leads_to_one_species(coordinator, changes, field):
    make_species("Pseudacris crucifer", "Spring peeper")
    assert set(refusal(add_own_species, coordinator, replace(REED, **changes), LISTING)) == {field}
    assert not Species.objects.filter(program=coordinator.program).exists()


def test_a_renamed_species_is_found_by_its_former_name(coordinator, program, reed):
    names = replace(REED, scientific_name="Afrixalus lacustris")
    change_own_species(coordinator, reed.code, names)
    reed.refresh_from_db()
    assert reed.synonyms == ["Rappia lacustris", "Hyperolius lacustris"]
    found = catalog_of(program)
    assert found["hyperolius lacustris"] == found["afrixalus lacustris"] == reed.code
    # Back again: the current name is no former one.
    change_own_species(coordinator, reed.code, replace(REED, synonyms=tuple(reed.synonyms)))
    reed.refresh_from_db()
    assert reed.synonyms == ["Rappia lacustris", "Afrixalus lacustris"]


def test_a_split_species_becomes_a_joint_entry_of_its_parts(coordinator, program, reed):
    parts = [
        add_own_species(
            coordinator, Names(scientific_name=f"Hyperolius {name}", common_name=name), LISTING
        ).species
        for name in ("borealis", "australis")
    ]
    split = replace(REED, members=frozenset(part.code for part in parts))
    assert "members" in refusal(
        change_own_species,
        coordinator,
        reed.code,
        replace(REED, members=frozenset([parts[0].code])),
    )
    change_own_species(coordinator, reed.code, split)
    reed.refresh_from_db()
    assert reed.is_complex
    assert set(reed.members.all()) == set(parts)
    # A joint entry has no joint entry as member.
    assert "members" in refusal(change_own_species, coordinator, parts[0].code, replace(
        REED,
        scientific_name="Hyperolius borealis",
        common_name="borealis",
        synonyms=(),
        members=frozenset({reed.code, parts[1].code}),
    ))  # fmt: skip
    # Once calls were recorded, none of its members can be taken away.
    observer = make_member(program).person
    make_accepted_visit(make_route(program, stops=1), observer, heard={1: {reed: 2}})
    assert "members" in refusal(change_own_species, coordinator, reed.code, REED)


def test_a_name_that_several_species_had_leads_to_their_joint_entry_or_to_none(
    coordinator, program
):
    old = ("Rappia vaga",)
    one, two = (
        add_own_species(
            coordinator,
            Names(scientific_name=f"Hyperolius {name}", common_name=name, synonyms=old),
            LISTING,
        ).species
        for name in ("borealis", "australis")
    )
    assert "rappia vaga" not in catalog_of(program)
    both = Names(
        scientific_name="Hyperolius borealis / australis",
        common_name="Northern or southern reed frog",
        members=frozenset({one.code, two.code}),
    )
    joint = add_own_species(coordinator, both, LISTING).species
    assert catalog_of(program)["rappia vaga"] == joint.code


@pytest.mark.parametrize("had_it", [("borealis",), ("borealis", "australis")])
def test_the_former_name_of_what_was_split_stays_with_it(coordinator, program, reed, had_it):
    """Also where the parts have the name, as taxonomies list it."""
    former = "Rappia lacustris"
    parts = [
        add_own_species(
            coordinator,
            Names(
                scientific_name=f"Hyperolius {name}",
                common_name=name,
                synonyms=(former,) if name in had_it else (),
            ),
            LISTING,
        ).species
        for name in ("borealis", "australis")
    ]
    assert former.casefold() not in catalog_of(program)
    split = replace(REED, members=frozenset(part.code for part in parts))
    change_own_species(coordinator, reed.code, split)
    assert catalog_of(program)[former.casefold()] == reed.code
    # One more species of that name: which was it?
    other = Names(scientific_name="Afrixalus vagus", common_name="Other", synonyms=(former,))
    add_own_species(coordinator, other, LISTING)
    assert former.casefold() not in catalog_of(program)


def test_two_people_and_history(coordinator, reed):
    seen = Seen(facts=names_facts(reed), at=dt.datetime.now(dt.UTC))
    change_own_species(coordinator, reed.code, replace(REED, note="at dusk"))
    with pytest.raises(EditConflict):
        change_own_species(coordinator, reed.code, replace(REED, call="click"), seen=seen)
    entries, _ = history(coordinator, HistoryFilters(kind="own-species"), size=9)
    assert [(one.label, one.now) for one in entries[0].changes] == [("Note", "at dusk")]


def test_a_later_load_of_the_catalog_leaves_it_alone(coordinator, reed):
    load_species()
    before = names_facts(reed)
    reed.refresh_from_db()
    assert names_facts(reed) == before
    assert reed.program == coordinator.program
    # Should the catalog have it one day, its names still lead to the program's own.
    make_species(REED.scientific_name, REED.common_name)
    found = catalog_of(coordinator.program)
    assert found["hyperolius lacustris"] == found["lake reed frog"] == reed.code


def test_one_that_nothing_uses_is_deleted(coordinator, program, reed, client_for):
    delete = reverse(
        "web:program_own_species_delete",
        kwargs={"program": program.slug, "own_species": reed.code},
    )
    answer = client_for(coordinator).post(delete, follow=True)
    assert "Lake reed frog is deleted." in answer.content.decode()
    assert not Species.objects.filter(program=program).exists()
    assert not program.checklist.exists()
    entries, _ = history(coordinator, HistoryFilters(), size=9)
    told = {(entry.kind, entry.act, entry.things) for entry in entries}
    assert {
        ("own-species", "delete", ("Lake reed frog",)),
        ("checklist", "delete", ("Lake reed frog",)),
    } <= told


def test_one_that_is_used_stays(coordinator, program, reed, client_for):
    def refused(species=reed):
        with pytest.raises(ValidationError) as told:
            delete_own_species(coordinator, species.code)
        return told.value.messages[0]

    other = make_member(make_program(), Role.COORDINATOR)
    with pytest.raises(Http404):
        delete_own_species(other, reed.code)
    with pytest.raises(PermissionDenied):
        delete_own_species(make_member(program), reed.code)
    south = replace(REED, scientific_name="Hyperolius australis", common_name="south", synonyms=())
    part = add_own_species(coordinator, south, LISTING).species
    joint = Names(
        scientific_name="Hyperolius sp.",
        common_name="Reed frogs",
        members=frozenset({reed.code, part.code}),
    )
    add_own_species(coordinator, joint, LISTING)
    assert "part of the joint entry Reed frogs" in refused()
    delete_own_species(coordinator, Species.objects.get(common_name="Reed frogs").code)
    # Silence on a night on which it was listed is a zero.
    visit = make_accepted_visit(
        make_route(program, stops=1), make_member(program).person, night=EVENING.date()
    )
    assert "Visits were made while Lake reed frog was on the checklist" in refused()
    # Off the list that night, and only what was first submitted names it.
    program.checklist.update(listed_from=EVENING.date() + dt.timedelta(days=1))
    visit.submissions.create(
        revision=9,
        cells={f"stops.1.calls.{reed.code}": "2"},
        submitted_by=visit.observer,
        submitted_at=EVENING,
    )
    assert "Visits name Lake reed frog" in refused()
    delete_own_species(coordinator, part.code)
    page = client_for(coordinator).post(
        reverse(
            "web:program_own_species_delete",
            kwargs={"program": program.slug, "own_species": reed.code},
        ),
        follow=True,
    )
    assert "Visits name Lake reed frog" in page.content.decode()


def test_on_the_screen(coordinator, program, client_for):
    peeper = add_species(coordinator, make_species("Pseudacris crucifer").code, Listing()).species
    client = client_for(coordinator)
    at = {"program": program.slug}
    found = client.get(reverse("web:program_species_search", kwargs=at), {"q": "reed"})
    add = reverse("web:program_own_species_add", kwargs=at)
    assert add in found.content.decode()
    typed = {
        "scientific_name": " Hyperolius   lacustris",
        "common_name": "Lake reed frog",
        "synonyms": "Rappia lacustris\r\n\r\n Rappia  lacus ",
        "calls_from_month": "11", "calls_from_day": "1",
        "calls_to_month": "2", "calls_to_day": "28",
        "sensitivity": "0",
    }  # fmt: skip
    answer = client.post(add, typed, follow=True)
    assert "own species" in answer.content.decode()
    own = Species.objects.get(program=program)
    assert (own.scientific_name, own.synonyms) == (
        "Hyperolius lacustris",
        ["Rappia lacustris", "Rappia lacus"],
    )
    edit = reverse("web:program_own_species", kwargs={**at, "own_species": own.code})
    entry = reverse("web:program_entry", kwargs={**at, "entry": own.checklist_entries.get().pk})
    assert edit in client.get(entry).content.decode()
    shown = client.get(edit).context["form"]
    assert shown["synonyms"].value() == "Rappia lacustris\nRappia lacus"
    typed["seen"] = client.get(edit).context["form"].seen_text
    refused = client.post(edit, {**typed, "members": [peeper.code]})
    assert "at least two members" in refused.content.decode()
    # A species of the catalog has no such page.
    of_catalog = reverse("web:program_own_species", kwargs={**at, "own_species": peeper.code})
    assert client.get(of_catalog).status_code == 404
