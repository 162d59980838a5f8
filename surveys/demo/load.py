"""Loading the demo programs: all of it, or nothing when it is there already."""

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import pgtrigger
from django.db import transaction
from django.utils import timezone

from accounts.models import Invitation, Membership, Role, hash_token, new_token
from surveys.demo.beginning import begin_history
from surveys.demo.catalog import load_species
from surveys.demo.dice import dice
from surveys.demo.removal import remove_program
from surveys.demo.setting import Setting, write_setting
from surveys.demo.story import Scale, Story, make_story
from surveys.demo.truths import People, Truths, read_people, read_places, read_truths
from surveys.demo.visits import visit_rows
from surveys.demo.vouchers import choose_recorded_visits, send_recordings
from surveys.models import Program
from surveys.seasons.year_counts import mark_program
from surveys.visits.bulk import FreshRows
from surveys.visits.refitting import refit_trends

INVITATION_DAYS = 14


@dataclass(frozen=True, kw_only=True)
class LoadedProgram:
    slug: str
    name: str
    visits: int
    periods: int
    calls: int
    was_there: bool = False


def load_demo(
    scale: Scale, *, fresh: bool = False, report: Callable[[str], None] = lambda _: None
) -> tuple[LoadedProgram, ...]:
    """Load both programs in one transaction.

    A program that is there already stays untouched, unless `fresh` asks for it to be
    replaced. Triggers do not fire: its history begins with the set-up as it was loaded. Its fits
    are left to the worker.
    """
    truths, places, people = read_truths(), read_places(), read_people()
    loaded = []
    with transaction.atomic():
        load_species()
        for truth in truths.programs:
            existing = Program.objects.filter(slug=truth.slug).first()
            if existing and not fresh:
                loaded.append(_loaded_before(existing))
                continue
            with pgtrigger.ignore():
                if existing:
                    report(f"Removing {truth.name} …")
                    remove_program(existing)
                report(f"Making {truth.name} …")
                story = make_story(truths, places, people, truth, scale)
                setting, rows = _write_story(story, truths, people, scale)
            begin_history(setting.program)
            mark_program(setting.program.pk)
            refit_trends(setting.program.pk, after_s=0)
            loaded.append(
                LoadedProgram(
                    slug=truth.slug,
                    name=truth.name,
                    visits=len(rows.visits),
                    periods=len(rows.periods),
                    calls=len(rows.calls),
                )
            )
    return tuple(loaded)


def _write_story(
    story: Story, truths: Truths, people: People, scale: Scale
) -> tuple[Setting, FreshRows]:
    slug = story.truth.slug
    setting = write_setting(story, people, scale.seed)
    _invite(setting, people, slug)
    rows = visit_rows(
        story,
        setting,
        truths.habits,
        favorite=people.sign_ins.observer,
        coordinators=_coordinators(setting),
        now=_noon(scale.until, story.truth.time_zone),
        rng=dice(scale.seed, "reviews", slug),
    )
    recorded_visits = choose_recorded_visits(rows)
    rows.write()
    send_recordings(recorded_visits, setting.program, dice(scale.seed, "recordings", slug))
    return setting, rows


def _loaded_before(program: Program) -> LoadedProgram:
    return LoadedProgram(
        slug=program.slug, name=program.name, visits=0, periods=0, calls=0, was_there=True
    )


def _noon(until: dt.date, time_zone: str) -> dt.datetime:
    return dt.datetime.combine(until, dt.time(12), tzinfo=ZoneInfo(time_zone)).astimezone(dt.UTC)


def _coordinators(setting: Setting) -> tuple:
    members = Membership.objects.filter(program=setting.program, role=Role.COORDINATOR).order_by(
        "person__email"
    )
    return tuple(setting.people[member.person.email] for member in members.select_related("person"))


def _invite(setting: Setting, people: People, slug: str) -> None:
    """Open invitations whose links nobody knows: sending one again makes it usable."""
    now = timezone.now()
    coordinator = _coordinators(setting)[0]
    Invitation.objects.bulk_create(
        Invitation(
            program=setting.program,
            email=invitee.email,
            name=invitee.name,
            role=invitee.role,
            token_hash=hash_token(new_token()),
            invited_by=coordinator,
            created_at=now - dt.timedelta(days=3 + 9 * position),
            expires_at=now + dt.timedelta(days=INVITATION_DAYS - 3 - 9 * position),
        )
        for position, invitee in enumerate(people.invited_of(slug))
    )
