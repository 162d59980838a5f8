"""A coordinator's spreadsheet becomes visits that wait in review."""

import datetime as dt
import time
from decimal import Decimal

import pytest
from django.core.exceptions import PermissionDenied
from django.core.management import CommandError, call_command
from django.db import IntegrityError, connection
from django.http import Http404
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from accounts.models import Person, Role
from accounts.past_observers import add_past_observers
from surveys.importing.gathered import Answers
from surveys.importing.problems import ImportRefusedError
from surveys.importing.uploads import commit_upload, discard, open_upload, same_file_before, store
from surveys.models import (
    CallIndex,
    ListeningPeriod,
    ProtocolVersion,
    ReviewStep,
    Source,
    SpreadsheetImport,
    Submission,
    Visit,
    VisitState,
)
from surveys.visits.finding import where_of
from surveys.visits.judging import judge_sheet
from tests.integration.importing.conftest import night, wide, workbook
from tests.support.builders import (
    make_accepted_visit,
    make_member,
    make_person,
    make_program,
    make_route,
)

pytestmark = pytest.mark.django_db

TWO_STOPS = (
    "R1,2024-04-15,1,21:14,21:19,48,3,1",
    "R1,2024-04-15,2,21:30,21:35,47,,2",
)
LONG = """\
Route,Date,Stop,Start,End,Species,Index
R1,2024-04-15,1,21:14,21:19,Spring peeper,3
R1,2024-04-15,1,21:14,21:19,Hyla crucifer,2
R1,2024-04-15,2,21:30,21:35,none,
R1,2024-04-15,3,21:45,21:50,Pseudacris crucifer,2
"""


def heard(visit: Visit) -> dict[tuple[int, str], int | None]:
    rows = CallIndex.objects.filter(period__visit=visit).values_list(
        "period__stop__number", "species__code", "index"
    )
    return {(stop, species): index for stop, species, index in rows}


def test_wide(attempt, coordinator):
    tried = attempt(wide(*TWO_STOPS, "R2,15 Apr 2024,1,9:14 pm,9:19 pm,8.5C,0,-"))
    assert tried.problems == []
    assert (tried.preview.visits, tried.preview.stops, tried.preview.detections) == (2, 3, 3)
    done = commit_upload(coordinator, tried.upload)
    assert (done.visits, done.periods) == (2, 3)

    first = Visit.objects.get(route__code="R1")
    assert first.state == VisitState.SUBMITTED
    assert first.source == Source.IMPORT
    # Nobody is named, so nobody who is there gets the credit.
    assert (first.observer.name, first.observer.has_account) == ("Observer not named", False)
    assert first.season_year == 2024
    assert first.window == "Spring"
    period = first.periods.get(stop__number=1)
    assert period.air_temperature_c == Decimal("8.8889")
    assert period.air_temperature_unit == "F"
    # 21:14 in Chicago on 15 April is 02:14 UTC.
    assert period.started_at == dt.datetime(2024, 4, 16, 2, 14, tzinfo=dt.UTC)
    # Zeros are written in one column, so a blank means that nothing was recorded.
    assert heard(first) == {
        (1, "pseudacris-crucifer"): 3,
        (1, "lithobates-sylvaticus"): 1,
        (2, "pseudacris-crucifer"): None,
        (2, "lithobates-sylvaticus"): 2,
    }
    second = Visit.objects.get(route__code="R2")
    assert second.periods.get().air_temperature_unit == "C"
    assert heard(second) == {(1, "lithobates-sylvaticus"): None}


def test_blank_can_mean_not_heard(attempt, coordinator):
    tried = attempt(wide(*TWO_STOPS))
    assert tried.upload.answers.blank_is_zero
    commit_upload(coordinator, tried.upload)
    assert (2, "pseudacris-crucifer") not in heard(Visit.objects.get())


def test_long(attempt, coordinator):
    tried = attempt(LONG)
    assert tried.problems == [
        (
            "Row 3, column “Index”: Hyla crucifer at stop 1 is in row 2 already. "
            "Keep the row with the higher index."
        )
    ]
    tried = attempt(LONG.replace("R1,2024-04-15,1,21:14,21:19,Hyla crucifer,2\n", ""))
    assert tried.problems == []
    commit_upload(coordinator, tried.upload)
    visit = Visit.objects.get()
    assert visit.periods.filter(status="listened").count() == 3
    # The wood frog is on the checklist, but the file never names it.
    assert heard(visit) == {
        (1, "pseudacris-crucifer"): 3,
        (1, "lithobates-sylvaticus"): None,
        (2, "lithobates-sylvaticus"): None,
        (3, "pseudacris-crucifer"): 2,
        (3, "lithobates-sylvaticus"): None,
    }


def test_near_and_far_in_a_column_of_their_own_or_behind_the_index(attempt, coordinator):
    ProtocolVersion.objects.update(listening_radius_m=100)
    long = (
        "Route,Date,Stop,Start,End,Species,Index,Near or far\n"
        "R1,2024-04-15,1,21:14,21:19,Pseudacris crucifer,2,far\n"
        "R1,2024-04-15,2,21:24,21:29,Pseudacris crucifer,1N,\n"
        "R1,2024-04-15,3,21:34,21:39,Pseudacris crucifer,3,N\n"
    )
    (problem,) = attempt(long.replace(",2,far", ",2,100 yards")).problems
    assert "“2 100 yards” for Spring peeper at stop 1 is not a call index." in problem
    tried = attempt(long)
    assert tried.problems == []
    # What was heard only beyond the radius is no detection.
    seen = tried.preview
    assert (seen.detections, seen.far, seen.species) == (2, 1, (("Spring peeper", 2),))
    commit_upload(coordinator, tried.upload)
    calls = CallIndex.objects.filter(index__isnull=False).order_by("period__stop__number")
    assert list(calls.values_list("index", "distance")) == [(2, "far"), (1, "near"), (3, "near")]


def test_silence_of_species_that_are_never_named_can_count(attempt, coordinator):
    text = LONG.replace("R1,2024-04-15,1,21:14,21:19,Hyla crucifer,2\n", "")
    tried = attempt(text, answers=Answers(unnamed_is_zero=True))
    assert any("Lithobates sylvaticus" in notice for notice in tried.preview.notices)
    commit_upload(coordinator, tried.upload)
    assert (1, "lithobates-sylvaticus") not in heard(Visit.objects.get())


def test_every_error_says_its_row_and_column(attempt):
    tried = attempt(
        wide(
            "R1,2024-04-15,1,21:14,21:19,48,3,1",
            "R9,2024-04-15,1,21:14,21:19,48,3,1",
            "R1,2024-04-31,1,21:14,21:19,48,3,1",
            "R1,2024-04-15,one,21:14,21:19,48,3,1",
            "R1,2024-04-15,2,25:14,21:19,48,3,1",
            "R1,2024-04-15,3,21:40,21:45,warm,3,1",
            "R1,2024-04-15,1,21:50,21:55,48,3,1",
            "R2,2024-04-15,1,21:14,21:19,48,4,1",
            "R2,2024-04-15,2,21:24,21:20,48,1,1",
            "R2,2024-04-15,7,21:50,21:55,48,1,many",
            "R1,1999-04-15,1,21:14,21:19,48,3,1",
        ),
    )
    text = "\n".join(tried.problems)
    for wanted in (
        "Row 3, column “Route”: “R9” is not a route",
        "Row 4, column “Date”: There is no such day as “2024-04-31”",
        "Row 5, column “Stop”: “one” is not a number",
        "Row 6, column “Start time”: Start of the listening period at stop 2: “25:14” has an",
        "Row 7, column “Temp (F)”: Air temperature at stop 3: ",
        "Row 8: Stop 1 of R1 on 15 April 2024 is in row 2 already",
        "Row 9, column “Spring peeper”: Spring peeper at stop 1 has call index 4",
        "Row 10, column “End time”: Listening at stop 2 ends at 21:20",
        "Row 11, column “Lithobates sylvaticus”: “many” for Lithobates sylvaticus at stop 7",
        "Row 12: No protocol of the route was in effect on 15 April 1999",
    ):
        assert wanted in text, wanted
    assert any("stop 7" in problem.casefold() for problem in tried.problems)
    assert not tried.preview.can_commit


def test_all_or_nothing(attempt, coordinator):
    tried = attempt(wide(*TWO_STOPS, "R2,2024-04-15,1,21:14,21:19,48,9,1"))
    assert tried.preview.visits == 2
    with pytest.raises(ImportRefusedError, match="one problem"):
        commit_upload(coordinator, tried.upload)
    assert not Visit.objects.exists()
    assert not ListeningPeriod.objects.exists()
    assert not Submission.objects.exists()
    tried.upload.row.refresh_from_db()
    assert tried.upload.row.committed_at is None


def test_a_database_error_leaves_nothing_behind(attempt, coordinator):
    tried = attempt(wide(*TWO_STOPS))
    with connection.cursor() as cursor:
        cursor.execute("ALTER TABLE surveys_callindex ADD CONSTRAINT none CHECK (false) NOT VALID")
    with pytest.raises(IntegrityError, match="none"):
        commit_upload(coordinator, tried.upload)
    assert not Visit.objects.exists()
    assert not ListeningPeriod.objects.exists()


def test_the_raw_cells_stay_with_the_submission(attempt, coordinator):
    tried = attempt(
        wide(
            "R1,4/15/2024,1,9:14,9:19,48,3,1,7,T,Gate was open",
            header="Route,Date,Stop,Start time,End time,Temp (F)",
        ).replace("sylvaticus\n", "sylvaticus,Wind (mph),Rain (in),Gate\n"),
    )
    assert tried.problems == []
    assert any("“Gate”" in notice for notice in tried.preview.notices)
    commit_upload(coordinator, tried.upload)
    visit, submission = Visit.objects.get(), Submission.objects.get()
    assert visit.cells["stops.1.started_at"] == "21:14"
    assert visit.cells["stops.1.beaufort"] == "2"
    # A trace is a value of its own, here as on the sheet: it is not 0.
    assert (visit.rain_48h_mm, visit.rain_48h_is_trace, visit.rain_48h_unit) == (None, True, "in")
    assert submission.cells["imported.2.Start time"] == "9:14"
    assert submission.cells["imported.2.Wind (mph)"] == "7"
    assert submission.cells["imported.2.Gate"] == "Gate was open"
    assert not any(address.startswith("imported") for address in visit.cells)
    step = ReviewStep.objects.get()
    assert step.note == "Imported from “visits.csv”, row 2."
    assert step.revision == visit.revision == submission.revision


def test_stored_findings_are_what_judging_yields(attempt, coordinator):
    tried = attempt(
        wide(*TWO_STOPS, "R1,2024-08-15,1,21:14,21:16,48,3,1", "R1,2024-04-16,1,,,90,1,1")
    )
    assert tried.problems == []
    commit_upload(coordinator, tried.upload)
    for visit in Visit.objects.all():
        stored = [
            (row.code, row.severity, where_of(row), row.message)
            for row in visit.findings.select_related("stop", "species")
        ]
        assert stored == [(f.code, f.severity, f.where, f.message) for f in judge_sheet(visit)]
    assert Visit.objects.get(night="2024-08-15").findings.filter(code="outside-window").exists()


def test_second_observers(attempt, coordinator, program):
    """A name or address that one person of the program has is theirs; any other is a guest's."""
    wren = make_member(program, person=make_person("Wren Oakley", "wren@example.org"))
    rows = (
        "R1,2024-04-15,1,21:14,21:19,wren oakley,Robin",
        "R1,2024-04-16,1,21:14,21:19,Linden Harrow,Robin",
        "R1,2024-04-17,1,21:14,21:19,wren@example.org,Robin",
        "R1,2024-04-18,1,21:14,21:19,Wren Oakley,Wren Oakley",
    )
    head = "Route,Date,Stop,Start,End,Second observer,Observer,Species,Index\n"
    tried = attempt(head + "".join(f"{row},none,\n" for row in rows))
    assert tried.problems == []
    commit_upload(coordinator, tried.upload)
    told = Visit.objects.order_by("night").values_list("second_member", "second_observer")
    assert list(told) == [
        (wren.person_id, ""),
        (None, "Linden Harrow"),
        (wren.person_id, ""),
        (None, "Wren Oakley"),
    ]


def test_observers(attempt, coordinator, program):
    robin = make_member(program, person=make_person("Robin Fenwick", "robin@example.org"))
    left = make_member(program, person=make_person("Wren Oakley"), active=False)
    row = "{route},{date},1,21:14,21:19,48,1,1,{who}"
    tried = attempt(
        wide(
            row.format(route="R1", date="2024-04-15", who="ROBIN@example.org"),
            row.format(route="R1", date="2024-05-15", who="wren oakley"),
            row.format(route="R2", date="2024-04-15", who="Hazel Unknown"),
            row.format(route="R2", date="2024-05-15", who=""),
        ).replace("sylvaticus\n", "sylvaticus,Observer\n")
    )
    assert tried.problems == []
    assert tried.preview.new_observers == ("Hazel Unknown", "Observer not named")
    commit_upload(coordinator, tried.upload)
    people = dict(Visit.objects.values_list("night", "observer__name").filter(route__code="R1"))
    assert people == {night("2024-04-15"): "Robin Fenwick", night("2024-05-15"): "Wren Oakley"}
    strange = Visit.objects.get(route__code="R2", night="2024-04-15")
    assert (strange.observer.name, strange.observer.has_account) == ("Hazel Unknown", False)
    assert strange.observer.memberships.get().program == program
    assert not Visit.objects.filter(observer=coordinator.person).exists()
    # The next file finds the same person.
    again = attempt(
        wide(row.format(route="R2", date="2024-05-16", who="hazel unknown")).replace(
            "sylvaticus\n", "sylvaticus,Observer\n"
        )
    )
    assert again.preview.new_observers == ()
    commit_upload(coordinator, again.upload)
    assert strange.observer.visits.count() == 2
    assert {robin.person.pk, left.person.pk} < set(Visit.objects.values_list("observer", flat=True))


def test_a_name_that_two_share_is_asked_about(attempt, coordinator, client_for, program):
    wren = make_member(program, person=make_person("Wren Oakley", "wren@example.org"))
    add_past_observers(coordinator, ["Wren Oakley"])
    past = Person.objects.get(email=None, name="Wren Oakley")
    people = Person.objects.count()
    tried = attempt(
        wide("R1,2024-04-15,1,21:14,21:19,48,1,1,wren oakley").replace(
            "sylvaticus\n", "sylvaticus,Observer\n"
        )
    )
    (problem,) = tried.preview.problems
    assert "More than one person of the program is called “wren oakley”." in str(problem)
    assert tried.preview.new_observers == ()
    client, row = client_for(coordinator), tried.upload.row.pk
    preview, fix, commit = (
        reverse(f"web:import_{name}", args=[program.slug, row])
        for name in ("preview", "fix", "commit")
    )
    page = client.get(preview)
    (group,) = page.context["groups"]
    (item,) = group.items
    (_, options), *_ = item.options
    assert dict(options) == {
        wren.person.email: "Wren Oakley, wren@example.org",
        f"#{past.pk}": "Wren Oakley, no account, 0 visits",
    }
    client.post(commit)
    assert not Visit.objects.filter(route__program=program).exists()
    client.post(fix, {"problem_0": item.plain, "as_0": f"#{past.pk}"})
    told = client.get(preview).content.decode()
    assert "Observer: “wren oakley” is read as “Wren Oakley, no account, 0 visits”." in told
    client.post(commit)
    assert Visit.objects.get(route__program=program).observer == past
    assert Person.objects.count() == people


def test_rows_of_one_visit_must_agree(attempt):
    tried = attempt(
        wide(
            "R1,2024-04-15,1,21:14,21:19,48,3,1,Ann,dry",
            "R1,2024-04-15,2,21:30,21:35,48,3,1,Bo,wet",
        ).replace("sylvaticus\n", "sylvaticus,Observer,Notes\n")
    )
    text = "\n".join(tried.problems)
    assert "Row 3, column “Observer”: “Bo” differs from row 2" in text
    assert "Row 3, column “Notes”: “wet” differs from row 2" in text


def test_the_same_file_twice(attempt, coordinator):
    text = wide(*TWO_STOPS)
    commit_upload(coordinator, attempt(text).upload)
    again = attempt(text)
    assert same_file_before(again.upload).visit_count == 1
    assert again.problems == [
        (
            "Row 2: One visit was imported before: R1 on 15 April 2024. Choose to skip what was "
            "already imported, or set the earlier visits aside and correct them in review."
        )
    ]
    with pytest.raises(ImportRefusedError):
        commit_upload(coordinator, again.upload)
    more = attempt(wide(*TWO_STOPS, "R2,2024-04-15,1,21:14,21:19,48,1,1"), leave_out_known=True)
    assert (more.preview.visits, more.preview.known) == (1, 1)
    commit_upload(coordinator, more.upload)
    assert Visit.objects.count() == 2
    with pytest.raises(ImportRefusedError, match="already"):
        commit_upload(coordinator, open_upload(coordinator, more.upload.row.pk))


def test_only_known_visits(attempt, coordinator):
    text = wide(*TWO_STOPS)
    commit_upload(coordinator, attempt(text).upload)
    with pytest.raises(ImportRefusedError, match="no new visits"):
        commit_upload(coordinator, attempt(text, leave_out_known=True).upload)


def test_unknown_species_are_listed_once_with_suggestions(attempt):
    rows = "".join(f"R1,2024-04-15,{n},21:{n}4,21:{n}9,Spring peper,1\n" for n in (1, 2, 3))
    tried = attempt("Route,Date,Stop,Start,End,Species,Index\n" + rows)
    assert len(tried.problems) == 1
    assert "rows 3 and 4" in tried.problems[0]
    assert "“Spring peeper”" in tried.problems[0]


def test_index_columns_that_are_no_species_are_said(attempt):
    text = wide(*(f"{row},2" for row in TWO_STOPS)).replace("sylvaticus\n", "sylvaticus,Peper\n")
    notices = attempt(text).preview.notices
    assert any("“Peper”" in notice and "call indices" in notice for notice in notices)


def test_off_the_checklist_is_a_query_not_an_error(attempt, coordinator):
    text = wide(*(f"{row},1" for row in TWO_STOPS)).replace(
        "sylvaticus\n", "sylvaticus,Pseudacris ornata\n"
    )
    tried = attempt(text)
    assert tried.problems == []
    commit_upload(coordinator, tried.upload)
    # One question for both stops.
    (question,) = Visit.objects.get().findings.filter(code="species-off-checklist")
    assert (question.severity, question.params["also_at"]) == ("query", {"stops": [2]})


def test_workbook_with_real_dates_and_times(attempt, coordinator):
    content = workbook(
        [
            ["Route", "Date", "Stop", "Start time", "End time", "Temp (F)", "Spring peeper"],
            ["R1", dt.date(2024, 12, 31), 1, dt.time(23, 50), dt.time(23, 55), 48, 1],
            [
                "R1",
                dt.datetime(2024, 12, 31),
                2,
                dt.datetime(2025, 1, 1, 0, 10),
                dt.datetime(2025, 1, 1, 0, 15),
                47.5,
                2.0,
            ],
        ]
    )
    tried = attempt(content, name="past.xlsx")
    assert tried.problems == []
    commit_upload(coordinator, tried.upload)
    visit = Visit.objects.get()
    assert (visit.night, visit.season_year, visit.window) == (night("2024-12-31"), 2025, "Winter")
    starts = visit.periods.order_by("stop__number").values_list("started_at", flat=True)
    # Chicago is six hours behind UTC in winter.
    assert list(starts) == [
        dt.datetime(2025, 1, 1, 5, 50, tzinfo=dt.UTC),
        dt.datetime(2025, 1, 1, 6, 10, tzinfo=dt.UTC),
    ]


def test_the_night_the_clocks_go_back(attempt, coordinator):
    """Chicago, 3 November 2024: 01:30 came twice."""
    row = "R1,2024-11-02,1,{start},{end},48,1,1"
    tried = attempt(wide(row.format(start="01:30", end="01:35")))
    assert len(tried.problems) == 2
    assert "came twice" in tried.problems[0]
    assert "01:30 second" in tried.problems[0]
    tried = attempt(wide(row.format(start="01:30 second", end="01:35 second")))
    assert tried.problems == []
    commit_upload(coordinator, tried.upload)
    started = ListeningPeriod.objects.get().started_at
    assert started == dt.datetime(2024, 11, 3, 7, 30, tzinfo=dt.UTC)


def test_the_night_the_clocks_go_forward(attempt):
    """Chicago, 10 March 2024: no clock showed 02:30."""
    tried = attempt(wide("R1,2024-03-09,1,02:30,02:35,48,1,1"))
    assert "Row 2, column “Start time”" in tried.problems[0]
    assert "no clock showed 02:30" in tried.problems[0]


@pytest.mark.parametrize(
    "cell",
    [
        '=HYPERLINK("http://example.org")',
        "<script>alert(1)</script>",
        "'; DROP TABLE surveys_visit; --",
        "\ud83d\ude00" * 3,
        "9" * 400,
        "1e400",
        "NaN",
        "-0",
        "٣",
    ],
)
def test_hostile_cells_are_problems_or_texts(attempt, cell):
    quoted = '"' + cell.encode("utf-16", "surrogatepass").decode("utf-16").replace('"', '""') + '"'
    for position in range(8):
        cells = ["R1", "2024-04-15", "1", "21:14", "21:19", "48", "1", "1"]
        cells[position] = quoted
        tried = attempt(wide(",".join(cells)))
        assert tried.problems or tried.preview.visits == 1


def test_skipped_stops(attempt, coordinator):
    text = (
        "Route,Date,Stop,Status,Skip reason,Start,End,Spring peeper\n"
        "R1,2024-04-15,1,listened,,21:14,21:19,1\n"
        "R1,2024-04-15,2,Skipped,Road under water,,,\n"
        "R1,2024-04-15,3,,,,,\n"
    )
    tried = attempt(text)
    assert tried.problems == []
    commit_upload(coordinator, tried.upload)
    visit = Visit.objects.get()
    status = dict(visit.periods.values_list("stop__number", "status"))
    # Nothing at all is written for stop 3: it was not reached.
    assert status == {1: "listened", 2: "skipped"}
    assert visit.periods.get(stop__number=2).skip_reason == "Road under water"


def test_a_row_alone_means_listened_when_nothing_else_is_recorded(attempt, coordinator):
    tried = attempt("Route,Date,Stop,Spring peeper\nR1,2024-04-15,1,2\nR1,2024-04-15,2,\n")
    assert tried.problems == []
    commit_upload(coordinator, tried.upload)
    assert ListeningPeriod.objects.filter(status="listened").count() == 2


def test_other_programs_stay_closed(attempt, coordinator, observer):
    tried = attempt(wide(*TWO_STOPS))
    with pytest.raises(PermissionDenied):
        store(observer, file_name="x.csv", content=b"a,b\n1,2\n")
    stranger = make_member(make_program(), Role.COORDINATOR)
    with pytest.raises(Http404):
        open_upload(stranger, tried.upload.row.pk)


def test_visits_and_people_of_another_program_are_unknown(attempt, program, coordinator):
    """It has the same code and imported a visit of that night; one observer surveys there only."""
    neighbor = make_program()
    stranger = make_member(neighbor, person=make_person("Linden Harrow"))
    route = make_route(neighbor, code="R1")
    make_accepted_visit(route, stranger.person, night=night("2024-04-15"), source="import")
    tried = attempt(wide(*TWO_STOPS))
    assert (tried.problems, tried.preview.known, tried.preview.visits) == ([], 0, 1)
    row = "R1,2024-04-16,1,21:14,21:19,48,1,1,Linden Harrow"
    commit_upload(
        coordinator, attempt(wide(row).replace("sylvaticus\n", "sylvaticus,Observer\n")).upload
    )
    assert Visit.objects.get(route__program=program).observer != stranger.person


def test_the_command_imports_for_members_alone(program, tmp_path):
    stranger = make_member(make_program(), Role.COORDINATOR)
    file = tmp_path / "visits.csv"
    file.write_text(wide(*TWO_STOPS))
    with pytest.raises(CommandError, match="is not a member"):
        call_command("import_visits", program.slug, str(file), email=stranger.person.email)


def test_discard_keeps_what_was_imported(attempt, coordinator):
    tried = attempt(wide(*TWO_STOPS))
    commit_upload(coordinator, tried.upload)
    discard(coordinator, open_upload(coordinator, tried.upload.row.pk).row)
    assert SpreadsheetImport.objects.count() == 1
    discard(coordinator, attempt(wide(*TWO_STOPS)).upload.row)
    assert SpreadsheetImport.objects.count() == 1


def many(visits: int) -> str:
    rows = []
    for number in range(visits):
        date = dt.date(2001, 4, 1) + dt.timedelta(days=number % 60 + 365 * (number // 120))
        route = "R1" if number % 120 < 60 else "R2"
        rows += [
            f"{route},{date},{stop},21:{10 * stop:02},21:{10 * stop + 5:02},48,1,2"
            for stop in (1, 2, 3)
        ]
    return wide(*rows)


def test_five_thousand_rows(attempt, coordinator, django_assert_max_num_queries):
    """As many queries as for four visits, but for some more each 100 visits, and in a time that a
    page can take."""
    few = attempt(many(4))
    with CaptureQueriesContext(connection) as baseline:
        commit_upload(coordinator, few.upload)
    Visit.objects.all().delete()
    lots = attempt(many(1667))
    assert lots.problems == []
    assert len(lots.upload.table.rows) == 5001
    begun = time.process_time()
    with django_assert_max_num_queries(len(baseline) + 8 * 16 + 4):
        commit_upload(coordinator, lots.upload)
    assert time.process_time() - begun < 30
    assert Visit.objects.count() == 1667
