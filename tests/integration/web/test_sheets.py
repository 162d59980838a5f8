"""The paper sheet through its views: what is typed is kept, said beside, submitted."""

import datetime as dt
import io
import json
import re

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone
from PIL import Image

from surveys.models import (
    CallIndex,
    Program,
    ProtocolVersion,
    Visit,
    VisitState,
)
from surveys.protocol.nights import night_of
from surveys.visits.drafts import start_visit
from surveys.web.sheets import views as sheets
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_member,
    make_route,
    make_species,
    make_version,
)

NIGHT = dt.date(2024, 4, 15)


@pytest.fixture
def route(program):
    version = make_version(program, windows=[{"name": "Spring", "min_air_temperature": 5}])
    make_checklist(program, "Pseudacris crucifer", "Lithobates sylvaticus")
    return make_route(program, version=version, stops=2)


@pytest.fixture
def draft(route, observer):
    return start_visit(observer, route=route, night=NIGHT)


@pytest.fixture
def sheet_url(draft):
    return f"/{draft.route.program.slug}/sheets/{draft.pk}/"


def whole_visit(**changes: str) -> dict[str, str]:
    """Two stops, one peeper chorus, nothing to be said of it."""
    cells = {"start.air_temperature": "12", "start.beaufort": "1", "start.sky": "clear"}
    for stop, minute in ((1, 0), (2, 15)):
        cells |= {
            f"stops.{stop}.status": "listened",
            f"stops.{stop}.arrived_at": f"21:{minute:02}",
            f"stops.{stop}.started_at": f"21:{minute + 1:02}",
            f"stops.{stop}.finished_at": f"21:{minute + 6:02}",
            f"stops.{stop}.air_temperature": "12",
        }
    cells["stops.1.calls.pseudacris-crucifer"] = "3"
    return cells | {address.replace("__", "."): text for address, text in changes.items()}


def patch(client, url, changes):
    return client.patch(
        f"{url}cells", json.dumps({"changes": changes}), content_type="application/json"
    )


def changed(**cells):
    return {address: {"was": "", "now": text} for address, text in cells.items()}


def test_the_times_of_a_phone_are_local(client_for, observer, draft, sheet_url):
    """16 April 2024, 02:14 UTC is 21:14 in Chicago (CDT, UTC-5: tz database). What is left as it
    is shown stays the instant that the phone wrote."""
    instants = {
        "stops.1.started_at": "2024-04-16T02:14:09.621Z",
        "stops.1.finished_at": "2024-04-16T02:19:10.004Z",
        "stops.2.started_at": "2024-04-18T02:30:00.000Z",
    }
    client = client_for(observer)
    patch(client, sheet_url, changed(**instants))
    page = client.get(sheet_url).content.decode()
    assert 'value="21:14"' in page
    assert "02:14:09" not in page
    assert "2024-04-18T02:30:00.000Z" in page, "a time of another night is shown whole"
    rendered = {"stops.1.started_at": "21:14", "stops.1.finished_at": "21:19"}
    posted = {**rendered, "stops.1.finished_at": "21:20", "rendered": json.dumps(rendered)}
    assert client.post(sheet_url, posted).status_code == 302
    answer = patch(
        client, sheet_url, {"stops.1.started_at": {"was": "21:14", "now": "21:14"}}
    ).json()
    assert answer["conflicts"] == []
    draft.refresh_from_db()
    assert draft.cells["stops.1.started_at"] == instants["stops.1.started_at"]
    assert draft.cells["stops.1.finished_at"] == "21:20"


def test_every_stop_with_entries_can_be_cleared(client_for, observer, draft, sheet_url):
    """One that the route does not have, too; what was typed elsewhere is saved on the way."""
    client = client_for(observer)
    patch(client, sheet_url, changed(**{"stops.9.note": "mist", "stops.1.note": "fog"}))
    page = client.get(sheet_url).content.decode()
    assert "not on this route" in page
    assert [n for n in (1, 2, 9) if f'name="clear_stop" value="{n}"' in page] == [1, 9]
    posted = {"rendered": json.dumps({"stops.9.note": "mist"}), "stops.9.note": "mist"}
    client.post(sheet_url, {**posted, "notes": "late", "clear_stop": "9"})
    draft.refresh_from_db()
    assert "not on this route" not in client.get(sheet_url).content.decode()
    kept = {address: draft.cells.get(address) for address in ("stops.1.note", "notes")}
    assert kept == {"stops.1.note": "fog", "notes": "late"}
    assert "stops.9.note" not in draft.cells


def test_new_sheet_opens_once_with_route_and_night(client_for, route, observer):
    client = client_for(observer)
    response = client.post(
        f"/{route.program.slug}/sheets/new/", {"route": route.code, "night": "2024-04-15"}
    )
    visit = Visit.objects.get()
    assert response["Location"] == f"/{route.program.slug}/sheets/{visit.pk}/"
    assert (visit.night, visit.state, visit.observer) == (NIGHT, "draft", observer.person)
    page = client.get(response["Location"]).content.decode()
    assert 'name="stops.2.calls.lithobates-sylvaticus"' in page


@pytest.mark.parametrize(
    ("night", "words"),
    [
        ("2150-04-15", "is in the future"),
        ("1999-04-15", "No version of the route"),
        ("soon", "“soon” is not a date. Write it as"),
    ],
)
def test_impossible_night_is_explained(client_for, route, observer, night, words):
    response = client_for(observer).post(
        f"/{route.program.slug}/sheets/new/", {"route": route.code, "night": night}
    )
    assert words in response.content.decode()
    assert not Visit.objects.exists()


def test_cells_are_saved_as_typed_with_findings_beside_them(client_for, observer, draft, sheet_url):
    response = patch(
        client_for(observer), sheet_url, changed(**{"stops.1.air_temperature": "warmish"})
    )
    answer = response.json()
    assert (response.status_code, answer["conflicts"]) == (200, [])
    finding = next(f for f in answer["findings"] if f["cell"] == "stops.1.air_temperature")
    assert finding["severity"] == "refuse"
    assert finding["why"].startswith("/guide/rules/")
    draft.refresh_from_db()
    assert draft.cells["stops.1.air_temperature"] == "warmish"


def test_conflict_of_two_devices_keeps_both_texts(client_for, observer, draft, sheet_url):
    client = client_for(observer)
    patch(client, sheet_url, changed(**{"stops.1.paused_minutes": "2"}))
    answer = patch(
        client, sheet_url, changed(**{"stops.1.paused_minutes": "3", "stops.2.paused_minutes": "1"})
    ).json()
    assert answer["conflicts"] == [
        {"address": "stops.1.paused_minutes", "mine": "3", "theirs": "2"}
    ]
    draft.refresh_from_db()
    assert (draft.cells["stops.1.paused_minutes"], draft.cells["stops.2.paused_minutes"]) == (
        "2",
        "1",
    )


@pytest.mark.parametrize(
    "body",
    ["", "[]", "{}", '{"changes": {"a": "b"}}', '{"changes": 3}', "not json", "[" * 60_000],
    ids=len,
)
def test_malformed_request_says_what_is_expected(client_for, observer, sheet_url, body):
    response = client_for(observer).patch(
        f"{sheet_url}cells", body, content_type="application/json"
    )
    assert response.status_code == 400
    assert "changes" in response.json()["detail"]


def test_form_works_without_javascript(client_for, observer, draft, sheet_url):
    client = client_for(observer)
    rendered = json.dumps(draft.cells)
    posted = {**draft.cells, **whole_visit(), "rendered": rendered}
    assert client.post(sheet_url, posted).status_code == 302
    draft.refresh_from_db()
    assert draft.cells["stops.2.finished_at"] == "21:21"
    response = client.post(f"{sheet_url}submit", {**posted, "rendered": json.dumps(draft.cells)})
    assert response.status_code == 302
    draft.refresh_from_db()
    assert draft.state == VisitState.SUBMITTED
    assert CallIndex.objects.get().index == 3


def test_form_conflict_shows_both_texts_without_overwriting(client_for, observer, draft, sheet_url):
    client = client_for(observer)
    rendered = json.dumps(draft.cells)
    patch(client, sheet_url, changed(**{"stops.1.paused_minutes": "2"}))
    response = client.post(
        sheet_url, {**draft.cells, "stops.1.paused_minutes": "7", "rendered": rendered}
    )
    assert response.status_code == 409
    page = response.content.decode()
    assert "Yours: “7”. On the sheet: “2”." in page
    assert ">Stop 1, Pause, min</a>" in page
    draft.refresh_from_db()
    assert draft.cells["stops.1.paused_minutes"] == "2"


def test_a_code_of_the_protocol_is_said_in_words(client_for, observer, route):
    ProtocolVersion.objects.update(sky_codes={"b": "partly_cloudy"}, noise_codes={"q": "quiet"})
    visit = start_visit(observer, route=route, night=NIGHT)
    visit.cells = {"start.sky": "b", "stops.1.sky": "B", "stops.1.noise": "q", "end.sky": "murk"}
    visit.save()
    page = client_for(observer).get(f"/{route.program.slug}/sheets/{visit.pk}/").content.decode()
    for text, told in (
        ("b", "b partly cloudy"),
        ("B", "b partly cloudy"),
        ("q", "q quiet"),
        ("murk", "murk"),
    ):
        assert f'<option value="{text}" selected>{told}</option>' in page


def test_refused_sheet_is_kept(client_for, observer, draft, sheet_url):
    posted = {**draft.cells, **whole_visit(stops__1__finished_at="20:50"), "rendered": "{}"}
    response = client_for(observer).post(f"{sheet_url}submit", posted)
    assert response.status_code == 422
    assert "cannot submit this visit yet" in response.content.decode()
    draft.refresh_from_db()
    assert (draft.state, draft.cells["stops.1.finished_at"]) == ("draft", "20:50")


def test_submitted_sheet_redirects_to_the_visit(client_for, observer, draft, sheet_url):
    client = client_for(observer)
    client.post(f"{sheet_url}submit", {**draft.cells, **whole_visit(), "rendered": "{}"})
    assert client.get(sheet_url)["Location"] == f"/{draft.route.program.slug}/visits/{draft.pk}/"
    assert patch(client, sheet_url, changed(**{"stops.1.paused_minutes": "7"})).status_code == 409


def test_species_off_the_checklist_gets_a_column(client_for, observer, draft, sheet_url):
    from_catalog = make_species("Anaxyrus americanus")
    client = client_for(observer)
    response = client.post(sheet_url, {"rendered": "{}", "extra_species": from_catalog.code})
    page = client.get(response["Location"]).content.decode()
    assert 'name="stops.1.calls.anaxyrus-americanus"' in page
    patch(client, sheet_url, changed(**{"stops.1.calls.anaxyrus-americanus": "1"}))
    assert 'name="stops.2.calls.anaxyrus-americanus"' in client.get(sheet_url).content.decode()


def test_repeated_hour_is_asked_about(client_for, observer, route):
    """2 November 2024 in Chicago: the clocks go back at 2:00, so 1:30 comes twice."""
    visit = start_visit(observer, route=route, night=dt.date(2024, 11, 2))
    url = f"/{route.program.slug}/sheets/{visit.pk}/"
    client = client_for(observer)
    page = client.get(url).content.decode()
    assert 'name="stops.1.started_at.fold"' in page
    answer = patch(client, url, changed(**{"stops.1.started_at": "1:30"})).json()
    assert any("twice" in finding["message"] for finding in answer["findings"])
    answer = patch(client, url, changed(**{"stops.1.started_at.fold": "second"})).json()
    assert not any("twice" in finding["message"] for finding in answer["findings"])


def test_draft_of_another_observer_is_a_404(client_for, program, draft, sheet_url):
    client = client_for(make_member(program))
    assert client.get(sheet_url).status_code == 404
    assert patch(client, sheet_url, changed(notes="mine")).status_code == 404
    assert client.post(f"{sheet_url}submit", {"rendered": "{}"}).status_code == 404
    assert client.post(f"{sheet_url}discard").status_code == 404
    draft.refresh_from_db()
    assert "notes" not in draft.cells


def test_discard_removes_only_a_draft(client_for, observer, draft, sheet_url):
    client = client_for(observer)
    client.post(f"{sheet_url}submit", {**draft.cells, **whole_visit(), "rendered": "{}"})
    client.post(f"{sheet_url}discard")
    assert Visit.objects.filter(pk=draft.pk).exists()
    Visit.objects.filter(pk=draft.pk).update(state="sent_back")
    client.post(f"{sheet_url}discard")
    assert Visit.objects.filter(pk=draft.pk).exists()


def picture():
    image = Image.new("RGB", (60, 40), "green")
    tags = image.getexif()
    tags.get_ifd(0x8825)[2] = (43.0, 4.0, 23.0)
    out = io.BytesIO()
    image.save(out, "JPEG", exif=tags)
    return SimpleUploadedFile("toad.jpg", out.getvalue(), content_type="image/jpeg")


def test_photo_is_stored_without_its_position(client_for, observer, draft, sheet_url, program):
    client = client_for(observer)
    assert client.post(f"{sheet_url}photos/1", {"photo": picture()}).status_code == 302
    response = client.get(f"{sheet_url}photos/1")
    shown = Image.open(io.BytesIO(response.getvalue()))
    assert (shown.format, shown.size) == ("JPEG", (60, 40))
    assert not shown.getexif()
    assert client_for(make_member(program)).get(f"{sheet_url}photos/1").status_code == 404
    client.post(f"{sheet_url}photos/1", {"remove": "1"})
    assert client.get(f"{sheet_url}photos/1").status_code == 404


def test_file_that_is_not_a_picture_is_refused_with_a_message(
    client_for, observer, draft, sheet_url
):
    client = client_for(observer)
    wrong = SimpleUploadedFile("toad.jpg", b"not a picture", content_type="image/jpeg")
    page = client.post(f"{sheet_url}photos/1", {"photo": wrong}, follow=True).content.decode()
    assert "could not be read" in page


def test_list_of_my_visits_has_a_bounded_number_of_queries(
    client_for, observer, route, django_assert_max_num_queries
):
    for day in range(1, 13):
        start_visit(observer, route=route, night=dt.date(2024, 4, day))
    client = client_for(observer)
    with django_assert_max_num_queries(9):
        page = client.get(f"/{route.program.slug}/sheets/").content.decode()
    assert page.count("row-link") == 12


@pytest.mark.parametrize(
    ("unit", "clock_style", "minus", "halves"),
    [("C", "24", True, False), ("F", "12", False, True)],
)
def test_keys_that_a_keyboard_of_digits_lacks(
    client_for, observer, route, program, unit, clock_style, minus, halves
):
    program.temperature_unit, program.clock_style = unit, clock_style
    program.save()
    draft = start_visit(observer, route=route, night=NIGHT)
    page = client_for(observer).get(f"/{program.slug}/sheets/{draft.pk}/").content.decode()
    tags = {tag.partition('"')[2].partition('"')[0]: tag for tag in page.split("<input")}
    air, start = tags["stops.1.air_temperature"], tags["stops.1.started_at"]
    assert ('data-keys="-"' in air) is minus
    assert ('inputmode="decimal"' in air) is not minus
    assert ('data-keys="-"' in tags["end.air_temperature"]) is minus
    assert 'inputmode="numeric"' in tags["start.beaufort"]
    assert 'data-keys="T"' in tags["rain_48h"]
    assert ('data-keys="am pm"' in start) is halves
    calls = [tag for name, tag in tags.items() if name.startswith("stops.1.calls.")]
    assert calls
    assert all('data-keys="?"' in tag for tag in calls)


@pytest.fixture
def my_visits(observer, route):
    """Two drafts of 2023 and one visit of 2024 that was sent back; the latest was accepted."""
    for day in (dt.date(2023, 4, 15), dt.date(2023, 4, 16), NIGHT, dt.date(2024, 4, 20)):
        start_visit(observer, route=route, night=day)
    of_2024 = Visit.objects.filter(season_year=2024)
    of_2024.update(state=VisitState.SUBMITTED, submitted_at=timezone.now())
    of_2024.filter(night=NIGHT).update(state=VisitState.SENT_BACK)
    of_2024.exclude(night=NIGHT).update(state=VisitState.ACCEPTED)


def nights_of(page):
    return re.findall(r'class="nowrap">([^<]+)<', page)


def test_my_visits_begin_with_those_to_finish(client_for, observer, route, my_visits, monkeypatch):
    url, client = f"/{route.program.slug}/sheets/", client_for(observer)
    page = client.get(url).content.decode()
    assert nights_of(page) == ["15 Apr 2024", "16 Apr 2023", "15 Apr 2023", "20 Apr 2024"]
    assert page.count("Fix it and submit it again.") == 1
    monkeypatch.setattr(sheets, "VISITS_PER_PAGE", 3)
    assert len(nights_of(client.get(url).content.decode())) == 3
    assert nights_of(client.get(f"{url}?page=2").content.decode()) == ["20 Apr 2024"]


def test_my_visits_of_one_season(client_for, observer, route, my_visits):
    url, client = f"/{route.program.slug}/sheets/", client_for(observer)
    page = client.get(f"{url}?season=2024").content.decode()
    assert nights_of(page) == ["15 Apr 2024", "20 Apr 2024"]
    assert '<option value="2024" selected>' in page
    assert len(nights_of(client.get(f"{url}?season=never").content.decode())) == 4


def test_my_visits_of_a_route_and_a_species(client_for, observer, route, my_visits):
    peeper, other = make_species(), make_route(route.program, code="Z9")
    make_accepted_visit(other, observer.person, heard={1: {peeper: 2}, 2: {peeper: 1}})
    url, client = f"/{route.program.slug}/sheets/", client_for(observer)
    heard = f"species={peeper.code}"
    for query in ("route=Z9", heard, f"season=2024&route=Z9&{heard}"):
        page = client.get(f"{url}?{query}").content.decode()
        assert nights_of(page) == ["15 Apr 2024"], query
        assert f'tonight/{other.code}/#heard-title"' in page or "route" not in query
    nothing = client.get(f"{url}?{heard}&season=2023").content.decode()
    assert nights_of(nothing) == []
    assert "None of your visits fit these filters." in nothing
    assert "No visits yet" not in nothing
    assert len(nights_of(client.get(f"{url}?species=no&route=none").content.decode())) == 5


def test_a_visit_sent_back_says_what_to_do(client_for, observer, draft, sheet_url):
    assert "Fix what you can" not in client_for(observer).get(sheet_url).content.decode()
    Visit.objects.update(state=VisitState.SUBMITTED, submitted_at=timezone.now())
    Visit.objects.update(state=VisitState.SENT_BACK)
    page = client_for(observer).get(sheet_url).content.decode()
    assert "Fix what you can, then submit it again at the end of this page." in page


def test_the_night_is_shown_in_the_order_of_the_program(client_for, observer, draft, sheet_url):
    Program.objects.update(date_order="mdy")
    client = client_for(observer)
    assert 'value="4/15/2024"' in client.get(sheet_url).content.decode()
    shown = {"night": {"was": "4/15/2024", "now": "4/16/2024"}}
    saved = patch(client, sheet_url, shown).json()
    assert (saved["conflicts"], saved["cells"]["night"]) == ([], "4/16/2024")
    assert Visit.objects.get().cells["night"] == "2024-04-16"
    rendered = json.dumps(saved["cells"])
    client.post(sheet_url, {"night": "4/17/2024", "rendered": rendered})
    visit = Visit.objects.get()
    assert (visit.cells["night"], visit.night) == ("2024-04-17", dt.date(2024, 4, 17))


def test_a_new_sheet_is_for_tonight_unless_the_link_says_another_night(client_for, observer, route):
    url = f"/{route.program.slug}/sheets/new/"
    tonight = night_of(timezone.now(), route.program.time_zone)
    assert f'value="{tonight}"' in client_for(observer).get(url).content.decode()
    page = client_for(observer).get(f"{url}?night=2024-04-15").content.decode()
    assert 'value="2024-04-15"' in page
