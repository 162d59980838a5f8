"""Letters to a group: who gets them, what they read, and that nothing is sent twice or unseen."""

import datetime as dt
import uuid
from zoneinfo import ZoneInfo

import pytest
from django.core import mail
from django.core.exceptions import PermissionDenied, ValidationError
from django.utils import timezone
from procrastinate.contrib.django.models import ProcrastinateJob

from accounts.models import Membership, Role
from surveys.models import Assignment, GroupLetter, LetterCopy, LetterGroup, LetterKind, Program
from surveys.programs.history import HistoryFilters, history
from surveys.reminders import letters
from surveys.reminders.groups import BY_ROUTE, readers_of
from surveys.reminders.letters import first_words, mail_letter, send_letter
from surveys.reminders.stopping import StopLink, stop, stop_url
from surveys.reminders.texts import Words
from tests.support.builders import (
    make_accepted_visit,
    make_member,
    make_person,
    make_program,
    make_route,
    make_version,
)
from tests.support.by_day import noon_zone

pytestmark = pytest.mark.django_db

SITE = "https://frogs.example.org/"
# The window of `make_version` is open from 15 March to 30 June.
HALF, OVER = dt.date(2025, 5, 20), dt.date(2025, 7, 2)
WORDS = Words(subject="{program}: tonight?", text="Hello {name},\n{list}\n{link}")


@pytest.fixture(autouse=True)
def _by_day(program):
    program.time_zone = noon_zone()
    program.save()


@pytest.fixture
def members(program) -> dict[str, Membership]:
    """Ann surveys in North, Bo in North and South, Cy has no route; Di has left."""
    version = make_version(program)
    made = {
        name: make_member(program, person=make_person(name)) for name in ("Ann", "Bo", "Cy", "Di")
    }
    routes = {
        code: make_route(program, version=version, code=code, name="Fen", region=region)
        for code, region in (("N1", "North"), ("N2", "North"), ("S1", "South"))
    }
    for code, name in (("N1", "Ann"), ("N2", "Bo"), ("S1", "Bo"), ("S1", "Di")):
        Assignment.objects.create(route=routes[code], observer=made[name].person, season_year=2025)
    Membership.objects.filter(pk=made["Di"].pk).update(active=False)
    return made


def names(program, group: LetterGroup, region: str = "", today: dt.date = HALF) -> list[str]:
    readers = readers_of(program, group, region, today)
    left = [f"{member.person.name}: {reason}" for member, reason in readers.left_out]
    return [reader.member.person.name for reader in readers.reached] + left


def send(coordinator, *chosen: Membership, **facts: object) -> GroupLetter:
    known = {
        "key": uuid.uuid4(),
        "group": LetterGroup.OBSERVERS,
        "region": "",
        "words": Words(subject="Workshop", text="Hello {name}"),
        "site_url": SITE,
    }
    return send_letter(coordinator, chosen=[one.pk for one in chosen], **{**known, **facts})


def jobs() -> list[dict]:
    rows = ProcrastinateJob.objects.filter(task_name="reminders.mail_letter").order_by("pk")
    return [job.args for job in rows]


def test_everybody_overdue_in_north(program, members):
    assert names(program, LetterGroup.OVERDUE, "North") == ["Ann", "Bo"]
    bo = readers_of(program, LetterGroup.OVERDUE, "North", HALF).reached[1]
    assert bo.lines == ("Route N2 Fen, Spring: 15 March 2025 to 30 June 2025",)
    assert names(program, LetterGroup.OVERDUE) == ["Ann", "Bo", "Di: left"]
    assert names(program, LetterGroup.OVERDUE, today=OVER) == []
    assert names(program, LetterGroup.MISSED, "North", OVER) == ["Ann", "Bo"]
    assert names(program, LetterGroup.MISSED) == []
    route = program.routes.get(code="N1")
    make_accepted_visit(route, members["Ann"].person, night=dt.date(2025, 4, 2))
    assert names(program, LetterGroup.OVERDUE, "North") == ["Bo"]


def test_the_other_groups(program, members):
    Membership.objects.filter(pk=members["Ann"].pk).update(
        trained_on=dt.date(2025, 1, 1), trained_until=dt.date(2026, 1, 1)
    )
    make_member(program, Role.COORDINATOR)
    make_member(make_program(), person=make_person("Far"))
    assert names(program, LetterGroup.ASSIGNED, "South") == ["Bo", "Di: left"]
    assert names(program, LetterGroup.FREE) == ["Cy"]
    assert names(program, LetterGroup.UNTESTED) == ["Bo", "Cy"]
    assert names(program, LetterGroup.OBSERVERS) == ["Ann", "Bo", "Cy"]
    stop(StopLink(member=members["Cy"], kind=LetterKind.LETTERS))
    assert names(program, LetterGroup.FREE) == ["Cy: does not want these emails"]


def test_each_gets_a_mail_of_their_own_in_two_forms(program, members, coordinator, monkeypatch):
    monkeypatch.setattr(letters, "today_of", lambda program: HALF)
    send(coordinator, members["Ann"], members["Bo"], group=LetterGroup.OVERDUE, words=WORDS)
    for job in jobs() * 2:
        mail_letter(**job)
    first, second = mail.outbox
    assert first.to == [members["Ann"].person.email]
    assert first.subject == f"{program.name}: tonight?"
    assert "Hello Ann,\n- Route N1 Fen, Spring: 15 March 2025 to 30 June 2025\n" in first.body
    assert f"{SITE}{program.slug}/tonight/" in first.body
    assert first.reply_to == [coordinator.person.email]
    ((page, kind),) = first.alternatives
    assert (kind, "Route N1 Fen" in page) == ("text/html", True)
    assert "Route N2 Fen" in second.body
    assert "Route S1 Fen" in second.body
    assert first.extra_headers["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    assert not LetterCopy.objects.filter(mailed_at=None).exists()


def test_who_stopped_such_mail_or_left_before_it_went_gets_nothing(members, coordinator, client):
    send(coordinator, members["Ann"], members["Cy"])
    Membership.objects.filter(pk=members["Ann"].pk).update(active=False)
    path = stop_url(members["Cy"], LetterKind.LETTERS, "")
    assert "Stop these emails?" in client.get(path).content.decode()
    assert client.post(path, {"List-Unsubscribe": "One-Click"}).status_code == 200
    for job in jobs():
        mail_letter(**job)
    assert mail.outbox == []


def test_a_letter_waits_for_the_end_of_the_quiet_hours(program, members, coordinator):
    """Queued at midnight for nine o'clock; a worker that comes to it at night queues it again."""
    zone = noon_zone(hours_later=12)
    Program.objects.filter(pk=program.pk).update(time_zone=zone)
    coordinator.program.refresh_from_db()
    send(coordinator, members["Ann"])
    (job,) = ProcrastinateJob.objects.filter(task_name="reminders.mail_letter")
    assert job.scheduled_at.astimezone(ZoneInfo(zone)).hour == 9
    assert job.scheduled_at > timezone.now()
    mail_letter(**job.args)
    assert mail.outbox == []
    assert ProcrastinateJob.objects.filter(task_name="reminders.mail_letter").count() == 2


def test_a_button_pressed_twice_sends_once(members, coordinator):
    key = uuid.uuid4()
    assert send(coordinator, members["Cy"], key=key) == send(coordinator, members["Ann"], key=key)
    assert [copy.member for copy in LetterCopy.objects.all()] == [members["Cy"]]
    assert len(jobs()) == 1


def test_what_is_refused_sends_nothing(program, members, coordinator, monkeypatch):
    ann, outsider = members["Ann"], make_member(make_program())
    refused = [
        ({"words": Words(subject="Hi", text="{list}")}, "{list} is not a placeholder"),
        ({"words": Words(subject="{nmae}", text="Hello")}, "{nmae} is not a placeholder"),
        ({"words": Words(subject="Hi\nBcc: a@example.org", text="Hello")}, "one line"),
        ({"region": "North"}, "Only a group by routes has a region"),
    ]
    for facts, sentence in refused:
        with pytest.raises(ValidationError, match=sentence):
            send(coordinator, ann, **facts)
    for nobody in (members["Di"], outsider):
        with pytest.raises(ValidationError, match="at least one person"):
            send(coordinator, nobody)
    with pytest.raises(PermissionDenied):
        send(ann, members["Cy"])
    monkeypatch.setattr(letters, "MOST_IN_A_DAY", 2)
    send(coordinator, ann)
    with pytest.raises(ValidationError, match="2 emails to groups in 24 hours, and 1 were sent"):
        send(coordinator, ann, members["Cy"])
    assert len(jobs()) == 1


def test_the_history_says_who_wrote_to_whom(members, coordinator, client_for):
    url = f"/{coordinator.program.slug}/program/emails/"
    page = client_for(coordinator).get(f"{url}write?group=observers")
    form = page.context["form"]
    typed = {field.html_name: field.value() for field in form} | {
        "subject": "Workshop",
        "text": "Hello {name},\nsee you on Friday.",
        "chosen": [members["Ann"].pk],
    }
    client = client_for(coordinator)
    shown = client.post(f"{url}write?group=observers", typed).content.decode()
    assert "Hello Ann,\nsee you on Friday." in shown
    assert "Send to 1 person" in shown
    assert not GroupLetter.objects.exists()
    answer = client.post(f"{url}write?group=observers", {**typed, "send": "1"}, follow=True)
    assert "1 email is on its way." in answer.content.decode()
    letter = GroupLetter.objects.get()
    assert (letter.by, letter.site_url) == (coordinator.person, "http://testserver/")
    assert "see you on Friday." in client.get(f"{url}{letter.pk}").content.decode()
    entries, _ = history(coordinator, HistoryFilters(kind="letters"), size=5)
    assert [(entry.by, entry.things) for entry in entries] == [(coordinator.person, ("Workshop",))]
    wrong = {**typed, "key": uuid.uuid4(), "text": "{nmae}", "send": "1"}
    bad = client.post(f"{url}write?group=observers", wrong)
    assert "{nmae} is not a placeholder." in bad.content.decode()
    assert bad.context["form"]["chosen"].value() == [str(members["Ann"].pk)]
    other = make_member(make_program(), Role.COORDINATOR)
    theirs = f"/{other.program.slug}/program/emails/{letter.pk}"
    assert client_for(other).get(theirs).status_code == 404


def test_another_group_keeps_what_was_written(members, coordinator, client_for):
    client = client_for(coordinator)
    url = f"/{coordinator.program.slug}/program/emails/write?group=observers"
    overdue = {"group": LetterGroup.OVERDUE.value, "region": "North"}
    shown = {"shown_group": LetterGroup.OBSERVERS.value, "shown_region": ""}
    chosen = {"key": uuid.uuid4(), "chosen": [members["Ann"].pk, members["Cy"].pk]}
    written = {"subject": "Workshop", "text": "Hello {name},\r\nsee you on Friday."}
    # Whatever is pressed: nobody has looked at those of the other group yet.
    for pressed in ({"choose": "1"}, {"send": "1"}, {}):
        page = client.post(url, overdue | shown | chosen | written | pressed)
        form = page.context["form"]
        assert form["subject"].value() == "Workshop"
        assert form["text"].value() == "Hello {name},\nsee you on Friday."
        assert (page.context["group"], page.context["region"]) == ("overdue", "North")
        assert page.context["shown"] is None
    assert not GroupLetter.objects.exists()
    # Words that nobody has changed are those of the group.
    first = first_words(LetterGroup.OVERDUE)
    back = {"group": "observers", "shown_group": "overdue", "shown_region": "North"}
    page = client.post(
        url, back | chosen | {"subject": first.subject, "text": first.text, "choose": "1"}
    )
    words = first_words(LetterGroup.OBSERVERS)
    assert page.context["form"]["text"].value() == words.text


def test_first_words_of_groups_by_routes_are_sent_as_they_are_others_are_written_first(program):
    for group in LetterGroup:
        words = first_words(group)
        assert words.text.endswith(":\n\n{link}")
        if group in BY_ROUTE:
            letters.check_letter(group, "", words)
            continue
        assert "routes" not in words.text
        with pytest.raises(ValidationError) as refused:
            letters.check_letter(group, "", words)
        assert refused.value.message_dict == {
            "subject": ["Write what the email is about."],
            "text": ["Write the email first."],
        }
        letters.check_letter(group, "", Words(subject="{program}: a workshop", text="Come."))
