"""The API. `program` is always the program's slug."""

from django.contrib.auth.decorators import login_required
from django.urls import path

from surveys.api.views import (
    analysts,
    check_ins,
    description,
    practice,
    programs,
    publications,
    recordings,
    references,
    results,
    review,
    visits,
    wetlands,
)

app_name = "api"
PROGRAM = "v1/<slug:program>/"
RECORDS = f"{PROGRAM}records/"
VISIT = f"{PROGRAM}visits/<uuid:visit_id>/"

urlpatterns = [
    path("schema/", description.Schema.as_view(), name="schema"),
    path("docs/", login_required(description.Docs.as_view()), name="docs"),
    path(PROGRAM, programs.ProgramDetail.as_view(), name="program"),
    path(f"{PROGRAM}routes/", programs.Routes.as_view(), name="routes"),
    path(f"{PROGRAM}routes/<slug:code>/", programs.RouteDetail.as_view(), name="route"),
    path(
        f"{PROGRAM}routes/<slug:code>/geojson/",
        programs.RouteGeoJson.as_view(),
        name="route_geojson",
    ),
    path(
        f"{PROGRAM}protocol-versions/",
        programs.ProtocolVersions.as_view(),
        name="protocol_versions",
    ),
    path(
        f"{PROGRAM}protocol-versions/<int:version_id>/",
        programs.ProtocolVersionDetail.as_view(),
        name="protocol_version",
    ),
    path(
        f"{PROGRAM}check-ins/<uuid:check_in_id>/",
        check_ins.CheckInDetail.as_view(),
        name="check_in",
    ),
    path(
        f"{PROGRAM}practice-answers/<uuid:practice_answer_id>/",
        practice.PracticeAnswerDetail.as_view(),
        name="practice_answer",
    ),
    path(f"{PROGRAM}checklist/", programs.Checklist.as_view(), name="checklist"),
    path(f"{PROGRAM}own-fields/", programs.OwnFields.as_view(), name="own_fields"),
    path(f"{RECORDS}visits/", analysts.VisitRecordsPage.as_view(), name="records_visits"),
    path(
        f"{RECORDS}stopped-counting/",
        analysts.StoppedCountingPage.as_view(),
        name="records_stopped_counting",
    ),
    path(f"{RECORDS}periods/", analysts.PeriodRecordsPage.as_view(), name="records_periods"),
    path(
        f"{RECORDS}own-values/", analysts.OwnValuesRecordsPage.as_view(), name="records_own_values"
    ),
    path(f"{RECORDS}calls/", analysts.CallRecordsPage.as_view(), name="records_calls"),
    path(f"{RECORDS}calls/export/", analysts.ExportCalls.as_view(), name="records_export"),
    path(f"{RECORDS}routes/", analysts.RouteRecords.as_view(), name="records_routes"),
    path(f"{RECORDS}stops/", analysts.StopRecords.as_view(), name="records_stops"),
    path(
        f"{RECORDS}stops/geojson/",
        analysts.StopRecordsGeoJson.as_view(),
        name="records_stops_geojson",
    ),
    path(f"{RECORDS}changes/", wetlands.ChangeRecords.as_view(), name="records_changes"),
    path(
        f"{RECORDS}station-weather/",
        wetlands.StationWeatherRecords.as_view(),
        name="records_station_weather",
    ),
    path(f"{RECORDS}water/", wetlands.WaterRecords.as_view(), name="records_water"),
    path(f"{PROGRAM}visits/", visits.Visits.as_view(), name="visits"),
    path(VISIT, visits.VisitDetail.as_view(), name="visit"),
    path(f"{VISIT}records/", visits.VisitRecords.as_view(), name="visit_records"),
    path(f"{VISIT}submit/", visits.SubmitVisit.as_view(), name="submit"),
    path(f"{VISIT}withdraw/", visits.WithdrawVisit.as_view(), name="withdraw"),
    path(f"{VISIT}accept/", review.AcceptVisit.as_view(), name="accept"),
    path(f"{VISIT}send-back/", review.SendBackVisit.as_view(), name="send_back"),
    path(f"{VISIT}set-aside/", review.SetAsideVisit.as_view(), name="set_aside"),
    path(f"{VISIT}reopen/", review.ReopenVisit.as_view(), name="reopen"),
    path(f"{VISIT}correct/", review.CorrectVisit.as_view(), name="correct"),
    path(f"{VISIT}confirm/", review.ConfirmByEar.as_view(), name="confirm"),
    path(
        f"{VISIT}confirmations/<int:confirmation_id>/take-back/",
        review.TakeBackConfirmation.as_view(),
        name="take_back",
    ),
    path(
        f"{VISIT}findings/<int:finding_id>/settle/",
        review.SettleFinding.as_view(),
        name="settle",
    ),
    path(f"{PROGRAM}recordings/", recordings.Recordings.as_view(), name="recordings"),
    path(
        f"{PROGRAM}recordings/<uuid:recording_id>/",
        recordings.RecordingUpload.as_view(),
        name="recording",
    ),
    path(f"{PROGRAM}reference-calls/", references.ReferenceCalls.as_view(), name="reference_calls"),
    path(
        f"{PROGRAM}reference-calls/<uuid:reference_id>/sound/",
        references.ReferenceCallSound.as_view(),
        name="reference_call_sound",
    ),
    path(f"{PROGRAM}seasons/route-years/", results.RouteYears.as_view(), name="route_years"),
    path(f"{PROGRAM}seasons/coverage/", results.SeasonCoverage.as_view(), name="coverage"),
    path(f"{PROGRAM}trends/", results.Trends.as_view(), name="trends"),
    path(f"{PROGRAM}trends/species/", results.SpeciesTrends.as_view(), name="species_trends"),
    path(f"{PROGRAM}trends/sightings/", results.SightingShares.as_view(), name="sighting_shares"),
    path(f"{PROGRAM}publications/", publications.Publications.as_view(), name="publications"),
    path(
        f"{PROGRAM}publications/<int:season_year>/<int:version>/",
        publications.PublicationDetail.as_view(),
        name="publication",
    ),
    path(
        f"{PROGRAM}publications/<int:season_year>/<int:version>/files/<path:kind>",
        publications.PublicationFile.as_view(),
        name="publication_file",
    ),
    path(
        f"{PROGRAM}publications/runs/<int:run_id>/",
        publications.PublishingRunDetail.as_view(),
        name="publishing_run",
    ),
]
