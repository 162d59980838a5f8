"""The API. `programme` is always the programme's slug."""

from django.contrib.auth.decorators import login_required
from django.urls import path

from surveys.api.views import (
    analysts,
    description,
    programmes,
    publications,
    recordings,
    results,
    review,
    visits,
)

app_name = "api"
PROGRAMME = "v1/<slug:programme>/"
RECORDS = f"{PROGRAMME}records/"
VISIT = f"{PROGRAMME}visits/<uuid:visit_id>/"

urlpatterns = [
    path("schema/", description.Schema.as_view(), name="schema"),
    path("docs/", login_required(description.Docs.as_view()), name="docs"),
    path(PROGRAMME, programmes.ProgrammeDetail.as_view(), name="programme"),
    path(f"{PROGRAMME}routes/", programmes.Routes.as_view(), name="routes"),
    path(f"{PROGRAMME}routes/<slug:code>/", programmes.RouteDetail.as_view(), name="route"),
    path(
        f"{PROGRAMME}routes/<slug:code>/geojson/",
        programmes.RouteGeoJson.as_view(),
        name="route_geojson",
    ),
    path(
        f"{PROGRAMME}protocol-versions/",
        programmes.ProtocolVersions.as_view(),
        name="protocol_versions",
    ),
    path(
        f"{PROGRAMME}protocol-versions/<int:version_id>/",
        programmes.ProtocolVersionDetail.as_view(),
        name="protocol_version",
    ),
    path(f"{PROGRAMME}checklist/", programmes.Checklist.as_view(), name="checklist"),
    path(f"{RECORDS}visits/", analysts.VisitRecordsPage.as_view(), name="records_visits"),
    path(
        f"{RECORDS}stopped-counting/",
        analysts.StoppedCountingPage.as_view(),
        name="records_stopped_counting",
    ),
    path(f"{RECORDS}periods/", analysts.PeriodRecordsPage.as_view(), name="records_periods"),
    path(f"{RECORDS}calls/", analysts.CallRecordsPage.as_view(), name="records_calls"),
    path(f"{RECORDS}calls/export/", analysts.ExportCalls.as_view(), name="records_export"),
    path(f"{RECORDS}stops/", analysts.StopRecords.as_view(), name="records_stops"),
    path(
        f"{RECORDS}stops/geojson/",
        analysts.StopRecordsGeoJson.as_view(),
        name="records_stops_geojson",
    ),
    path(f"{PROGRAMME}visits/", visits.Visits.as_view(), name="visits"),
    path(VISIT, visits.VisitDetail.as_view(), name="visit"),
    path(f"{VISIT}records/", visits.VisitRecords.as_view(), name="visit_records"),
    path(f"{VISIT}submit/", visits.SubmitVisit.as_view(), name="submit"),
    path(f"{VISIT}accept/", review.AcceptVisit.as_view(), name="accept"),
    path(f"{VISIT}send-back/", review.SendBackVisit.as_view(), name="send_back"),
    path(f"{VISIT}set-aside/", review.SetAsideVisit.as_view(), name="set_aside"),
    path(f"{VISIT}reopen/", review.ReopenVisit.as_view(), name="reopen"),
    path(f"{VISIT}correct/", review.CorrectVisit.as_view(), name="correct"),
    path(
        f"{VISIT}findings/<int:finding_id>/settle/",
        review.SettleFinding.as_view(),
        name="settle",
    ),
    path(f"{PROGRAMME}recordings/", recordings.Recordings.as_view(), name="recordings"),
    path(
        f"{PROGRAMME}recordings/<uuid:recording_id>/",
        recordings.RecordingUpload.as_view(),
        name="recording",
    ),
    path(f"{PROGRAMME}seasons/route-years/", results.RouteYears.as_view(), name="route_years"),
    path(f"{PROGRAMME}seasons/coverage/", results.SeasonCoverage.as_view(), name="coverage"),
    path(f"{PROGRAMME}trends/", results.Trends.as_view(), name="trends"),
    path(f"{PROGRAMME}publications/", publications.Publications.as_view(), name="publications"),
    path(
        f"{PROGRAMME}publications/<int:season_year>/<int:version>/",
        publications.PublicationDetail.as_view(),
        name="publication",
    ),
    path(
        f"{PROGRAMME}publications/<int:season_year>/<int:version>/files/<path:kind>",
        publications.PublicationFile.as_view(),
        name="publication_file",
    ),
    path(
        f"{PROGRAMME}publications/runs/<int:run_id>/",
        publications.PublishingRunDetail.as_view(),
        name="publishing_run",
    ),
]
