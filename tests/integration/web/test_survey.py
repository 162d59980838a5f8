"""The route packet, and the protocol version that a phone carried."""

import datetime as dt
import gzip
import json
import uuid

import pytest
from django.contrib.gis.geos import Point
from django.contrib.staticfiles import finders
from django.urls import reverse
from PIL import Image

from accounts.models import Role
from surveys.api.serializers.visits import visit_data
from surveys.demo.catalog import load_species
from surveys.models import (
    CallingRegion,
    ChecklistEntry,
    Program,
    ReviewStep,
    Species,
    Step,
    Visit,
    VisitState,
)
from surveys.programs.regional import regional_list
from surveys.protocol.sky import stop_sky
from surveys.visits.drafts import (
    discard_draft,
    put_sheet,
)
from surveys.web.guide.species import look_alikes_of
from surveys.web.survey import keeping
from surveys.web.survey.packets import (
    NIGHTS_AHEAD,
    NIGHTS_BEFORE,
    route_packet,
)
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_joint_entry,
    make_member,
    make_program,
    make_route,
    make_version,
)

# 15 April 2024, 18:00 in Chicago.
EVENING = dt.datetime(2024, 4, 15, 23, tzinfo=dt.UTC)
NIGHT = dt.date(2024, 4, 15)


@pytest.fixture
def route(program):
    return make_route(program, version=make_version(program, earliest_start_after_sunset_min=30))


def newer_version(route, since=dt.date(2024, 4, 20)):
    old = route.protocol.versions.get()
    return route.protocol.versions.create(
        number=old.number + 1, in_force_from=since, listening_time_s=300
    )


def test_packet_covers_the_coming_nights(observer, route):
    """Sunset 43.0731 N 89.4012 W on 15 April 2024: 00:40:57 UTC (reference library, DE421)."""
    packet = route_packet(observer, route.code, EVENING)
    assert packet["tonight"] == "2024-04-15"
    assert len(packet["nights"]) == NIGHTS_BEFORE + 1 + NIGHTS_AHEAD
    first = packet["nights"]["2024-04-15"]["stops"]["1"]
    sunset = dt.datetime.fromisoformat(first["sky"]["sunset"])
    assert abs(sunset - dt.datetime(2024, 4, 16, 0, 40, 57, tzinfo=dt.UTC)) < dt.timedelta(
        minutes=2
    )
    start = dt.datetime.fromisoformat(first["earliest_start"])
    # To the minute, rounded up.
    assert dt.timedelta(minutes=30) <= start - sunset < dt.timedelta(minutes=31)
    assert (start.second, start.microsecond) == (0, 0)


def test_each_night_has_its_version(observer, route):
    newer = newer_version(route)
    packet = route_packet(observer, route.code, EVENING)
    assert packet["nights"]["2024-04-19"]["version"] != newer.pk
    assert packet["nights"]["2024-04-20"]["version"] == newer.pk
    assert len(packet["versions"]) == 2


def test_skies_are_worked_out_for_one_phone_and_kept_for_the_others(program, observer, route):
    """Each process remembers some of them, too: forgotten here, as by another process."""

    def worked_out_for(member):
        stop_sky.cache_clear()
        packet = route_packet(member, route.code, EVENING)
        return packet["nights"], stop_sky.cache_info().misses

    places = route.stops.count() * (NIGHTS_BEFORE + 1 + NIGHTS_AHEAD)
    first, misses = worked_out_for(observer)
    assert misses == places
    other, misses = worked_out_for(make_member(program, Role.OBSERVER))
    assert misses == 0
    for night, facts in first.items():
        assert other[night] | {"visit": ""} == facts | {"visit": ""}
    stop = route.stops.first()
    stop.place = Point(-89.0, 43.5)
    stop.save()
    moved, misses = worked_out_for(observer)
    assert misses == places
    assert moved["2024-04-15"]["stops"]["1"] != first["2024-04-15"]["stops"]["1"]
    assert moved["2024-04-15"]["stops"]["2"] == first["2024-04-15"]["stops"]["2"]


def test_skies_of_other_software_are_worked_out_again(observer, route, monkeypatch):
    route_packet(observer, route.code, EVENING)
    monkeypatch.setattr(keeping, "_software", lambda *of: "another version")
    stop_sky.cache_clear()
    route_packet(observer, route.code, EVENING)
    assert stop_sky.cache_info().misses


def test_species_are_ordered_by_likelihood(observer, route, program):
    rare, common, summer = make_checklist(program, "Rana a", "Rana b", "Rana c")
    ChecklistEntry.objects.filter(species=summer).update(
        calls_from_month=6, calls_from_day=1, calls_to_month=8, calls_to_day=31
    )
    heard = {1: {common: 2, summer: 3}}
    make_accepted_visit(route, observer.person, night=dt.date(2023, 4, 20), heard=heard)
    order = route_packet(observer, route.code, EVENING)["nights"]["2024-04-15"]["species"]
    assert order == [common.code, rare.code, summer.code]


def test_packet_has_the_note_of_a_visit_that_was_sent_back(observer, route, program):
    make_accepted_visit(
        route, observer.person, night=NIGHT, state=VisitState.SENT_BACK, counts_in_trends=False
    )
    visit = Visit.objects.get()
    coordinator = make_member(program, Role.COORDINATOR).person
    for revision, note in ((2, "Check stop 1."), (3, "Was there fog?")):
        at = EVENING + dt.timedelta(days=revision)
        step = {"step": Step.SENT_BACK, "by": coordinator, "revision": revision, "note": note}
        ReviewStep.objects.create(visit=visit, at=at, **step)
    (shown,) = route_packet(observer, route.code, EVENING)["visits"]
    assert (shown["state"], shown["sent_back_note"]) == ("sent_back", "Was there fog?")
    assert visit_data(observer, visit)["sent_back_note"] == "Was there fog?"
    visit.state = VisitState.SUBMITTED
    assert visit_data(observer, visit)["sent_back_note"] == ""


def test_packet_tells_how_species_sound_and_what_is_taken_for_them(observer, route, program):
    load_species()
    make_checklist(program, "Pseudacris ornata", "Lithobates sylvaticus")
    packet = route_packet(observer, route.code, EVENING)
    ornate = next(one for one in packet["species"] if one["code"] == "pseudacris-ornata")
    assert ornate["call"] == "sharp ringing peep, more than one a second"
    assert ornate["note"] == "seasonal fishless wetlands filled by winter rain"
    assert {group["name"]: set(group["members"]) for group in packet["look_alikes"]} == {
        "Ornate chorus frog and spring peeper": {"pseudacris-crucifer", "pseudacris-ornata"},
        "Wood frog and ducks": {"lithobates-sylvaticus"},
    }
    # Names of what is not on the checklist; a species that gives no call cannot be heard.
    others = [code for code, *_ in packet["others"]]
    assert "pseudacris-crucifer" in others
    assert "ascaphus-truei" not in others


def test_a_joint_entry_has_the_look_alikes_of_its_members(observer, route, program):
    """The phone leaves the members themselves out; so does the page of the species."""
    load_species()
    joint = Species.objects.get(code="gray-treefrogs")
    ChecklistEntry.objects.create(program=program, species=joint)
    packet = route_packet(observer, route.code, EVENING)
    groups = {group["name"]: set(group["members"]) for group in packet["look_alikes"]}
    members = {member.code for member in joint.members.all()}
    assert groups
    assert all(members & codes for codes in groups.values())
    shown = look_alikes_of(joint)
    assert {group.name for group in shown} == groups.keys()
    names = {member.common_name for member in joint.members.all()}
    others = {other for group in shown for other in group.others}
    assert others
    assert not others & names


def test_look_alikes_keep_the_packet_small(observer, route, program):
    """A whole region on the checklist: what describes its species is a few kilobytes, compressed
    as it is sent."""
    load_species()
    program.calling_region = CallingRegion.objects.get(code="southeast-coastal-plain")
    program.save()
    for order, one in enumerate(regional_list(program), start=1):
        ChecklistEntry.objects.create(program=program, species=one.species, order=order)
    packet = route_packet(observer, route.code, EVENING)
    assert len(packet["species"]) > 30
    described = [packet["look_alikes"], [one["call"] + one["note"] for one in packet["species"]]]
    assert len(gzip.compress(json.dumps(described).encode())) < 8_000


def test_two_phones_of_one_person_start_the_same_visit_and_others_do_not(observer, route, program):
    first_phone, second_phone, other = (
        route_packet(member, route.code, EVENING)["nights"]["2024-04-15"]["visit"]
        for member in (observer, observer, make_member(program))
    )
    assert first_phone == second_phone != other
    discard_draft(observer, uuid.UUID(first_phone))
    new_id = route_packet(observer, route.code, EVENING)["nights"]["2024-04-15"]["visit"]
    assert new_id != first_phone


def test_visit_is_judged_by_the_version_the_phone_carried(observer, route):
    old = route.protocol.versions.get()
    newer_version(route, since=NIGHT)
    for carried_version_id, judged in ((old.pk, 1), (None, 2), (10**9, 2)):
        put_sheet(
            observer, key := uuid.uuid4(), route=route, night=NIGHT, cells={}, revision=None,
            carried_version_id=carried_version_id,
        )  # fmt: skip
        assert Visit.objects.get(pk=key).protocol_version.number == judged


def test_version_of_another_program_is_ignored(observer, route):
    theirs = make_version(make_program())
    key = uuid.uuid4()
    put_sheet(
        observer,
        key,
        route=route,
        night=NIGHT,
        cells={},
        revision=None,
        carried_version_id=theirs.pk,
    )
    assert Visit.objects.get(pk=key).protocol_version.protocol == route.protocol


def test_service_worker_lists_every_file(observer, client_for):
    url = reverse("web:survey_worker", kwargs={"program": observer.program.slug})
    answer = client_for(observer).get(url)
    assert answer["Content-Type"] == "text/javascript"
    for name in ("survey/sync.js", "survey/rules/judge.js", "survey/survey.css", "web/css/night"):
        assert f"/static/{name}" in answer.content.decode()


def test_service_worker_has_the_version_of_its_page(observer, client_for):
    slug = observer.program.slug
    page = client_for(observer).get(reverse("web:survey", kwargs={"program": slug}))
    worker = client_for(observer).get(reverse("web:survey_worker", kwargs={"program": slug}))
    assert f'"version": "{page["Survey-Version"]}"' in worker.content.decode()
    assert '"version_header": "Survey-Version"' in worker.content.decode()


@pytest.mark.parametrize(
    "change",
    [
        {"name": "Other Wetlands"},
        {"clock_style": "12"},
        {"date_order": "mdy"},
    ],
)
def test_what_the_page_tells_of_its_program_makes_a_new_version(observer, client_for, change):
    """Phones go on showing the page that they kept for as long as its version stays the same."""
    url = reverse("web:survey", kwargs={"program": observer.program.slug})
    before = client_for(observer).get(url)
    Program.objects.filter(pk=observer.program_id).update(**change)
    after = client_for(observer).get(url)
    assert before["Survey-Version"] != after["Survey-Version"]


def test_icons_have_the_sizes_in_the_manifest(observer, client_for):
    url = reverse("web:survey_manifest", kwargs={"program": observer.program.slug})
    icons = client_for(observer).get(url).json()["icons"]
    drawn = [icon for icon in icons if icon["type"] == "image/png"]
    assert {icon["purpose"] for icon in drawn} == {"any", "maskable"}
    for icon in drawn:
        path = finders.find(icon["src"].partition("/static/")[2])
        with Image.open(path) as picture:
            assert "{}x{}".format(*picture.size) == icon["sizes"]


def test_the_phone_knows_the_members_of_joint_entries(observer, route, program):
    gray, cope = make_checklist(program, "Hyla versicolor", "Hyla chrysoscelis")
    joint = make_joint_entry("Hyla of two kinds", gray, cope)
    ChecklistEntry.objects.create(program=program, species=joint, order=3)
    species = {
        entry["code"]: entry for entry in route_packet(observer, route.code, EVENING)["species"]
    }
    assert sorted(species[joint.code]["members"]) == sorted([gray.code, cope.code])
    assert species[gray.code]["members"] == []
