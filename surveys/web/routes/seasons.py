from django.urls import path

from surveys.web.views import seasons

urlpatterns = [
    path("<slug:programme>/seasons/", seasons.seasons, name="seasons"),
    path("<slug:programme>/seasons/coverage/", seasons.season_coverage, name="season_coverage"),
    path("<slug:programme>/seasons/map/", seasons.season_map, name="season_map"),
    path("<slug:programme>/seasons/visits/", seasons.season_visits, name="season_visits"),
]
