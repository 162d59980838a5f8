from django.urls import path

from surveys.web.seasons import views as seasons

urlpatterns = [
    path("<slug:program>/seasons/", seasons.seasons, name="seasons"),
    path("<slug:program>/seasons/coverage/", seasons.season_coverage, name="season_coverage"),
    path("<slug:program>/seasons/map/", seasons.season_map, name="season_map"),
    path("<slug:program>/seasons/visits/", seasons.season_visits, name="season_visits"),
]
