"""The commands that load the demo and the list of species, in an empty database."""

import datetime as dt
import io
from importlib import import_module
from zoneinfo import ZoneInfo

import pytest
from django.apps import apps
from django.core.management import CommandError, call_command
from procrastinate.contrib.django.models import ProcrastinateJob

from accounts.models import Person
from surveys.demo.truths import read_truths
from surveys.management.commands.load_demo import last_whole_day
from surveys.models import BackgroundRun, JointMember, Recording, RunKind, Species
from surveys.runs.kinds import task_name

pytestmark = pytest.mark.django_db


def test_publications_of_the_last_season_and_pictures_are_left_to_the_worker():
    call_command(
        "load_demo", "--until", "2026-11-25", "--routes", "3", "--years", "2", "--seed", "7",
        "--site-url", "http://127.0.0.1:8123", stdout=io.StringIO(),
    )  # fmt: skip
    publishing = BackgroundRun.objects.filter(kind=RunKind.PUBLISH)
    assert set(publishing.values_list("program__slug", "options__season_year")) == {
        ("larkmoor-spring", 2026),
        ("saltgrass-winter", 2026),
    }
    jobs = ProcrastinateJob.objects.filter(pk__in=publishing.values("job_id"))
    assert {(job.task_name, job.args["run_id"]) for job in jobs} == {
        (task_name(RunKind.PUBLISH), run.pk) for run in publishing
    }
    assert {run.options["site_url"] for run in publishing} == {"http://127.0.0.1:8123"}
    # Somebody waits for publications.
    pictures = ProcrastinateJob.objects.filter(task_name="visits.picture")
    assert {job.priority for job in jobs} == {0}
    assert {job.priority for job in pictures} == {-1}
    recordings = Recording.objects.values_list("pk", flat=True)
    assert {job.args["recording_id"] for job in pictures} == {str(pk) for pk in recordings} != set()


def test_commands(db):
    with pytest.raises(CommandError, match="load_demo"):
        call_command("demo_signins", stdout=io.StringIO())
    out = io.StringIO()
    call_command(
        "load_demo", "--until=2026-11-25", "--routes=1", "--years=1", "--seed=2", stdout=out
    )
    assert "Saltgrass Flatwoods Winter Call Count: " in out.getvalue()
    out = io.StringIO()
    call_command("demo_signins", stdout=out)
    lines = out.getvalue().splitlines()
    assert [line.split()[0] for line in lines[:3]] == ["Observer", "Coordinator", "Partner"]
    assert "Larkmoor" in lines[1]
    assert "Saltgrass" in lines[1]
    password = lines[3].rpartition(" ")[2]
    for line in lines[:3]:
        assert Person.objects.get(email=line.split()[1]).check_password(password)


@pytest.mark.parametrize("hour", range(24))
def test_the_story_never_ends_in_the_future(hour):
    now = dt.datetime(2026, 12, 2, hour, 30, tzinfo=dt.UTC)
    until = last_whole_day(now)
    for story in read_truths().programs:
        zone = ZoneInfo(story.time_zone)
        assert dt.datetime.combine(until, dt.time(12), tzinfo=zone) <= now


def test_load_species_keeps_edited_names(db):
    call_command("load_species", stdout=io.StringIO())
    count = Species.objects.count()
    assert count > 30
    assert Species.objects.get(code="chorus-frogs").is_complex
    Species.objects.filter(code="pseudacris-crucifer").update(common_name="Peeper")
    out = io.StringIO()
    call_command("load_species", stdout=out)
    assert "0 added" in out.getvalue()
    assert Species.objects.count() == count
    assert Species.objects.get(code="pseudacris-crucifer").common_name == "Peeper"


def test_joint_entries_know_their_members(db):
    call_command("load_species", stdout=io.StringIO())
    chorus, gray = (Species.objects.get(code=code) for code in ("chorus-frogs", "gray-treefrogs"))
    assert {member.code for member in gray.members.all()} == {
        "dryophytes-versicolor", "dryophytes-chrysoscelis"
    }  # fmt: skip
    assert chorus.members.count() == 3
    # A joint entry without members gets them; one that somebody edited stays as it is.
    gray.members.clear()
    chorus.members.remove(chorus.members.first())
    call_command("load_species", stdout=io.StringIO())
    assert (gray.members.count(), chorus.members.count()) == (2, 2)


def test_the_migration_gave_them_to_catalogs_that_were_there(db):
    call_command("load_species", stdout=io.StringIO())
    JointMember.objects.all().delete()
    migration = import_module("surveys.migrations.0008_joint_members")
    migration.add_members(apps, None)
    assert JointMember.objects.count() == 5
    for code, codes in migration.MEMBERS.items():
        members = Species.objects.get(code=code).members
        assert set(members.values_list("code", flat=True)) == set(codes)
