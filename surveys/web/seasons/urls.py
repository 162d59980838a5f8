from django.urls import path

from surveys.web.seasons import changed_views as changed
from surveys.web.seasons import views as seasons

AT = "<slug:program>/seasons/"

urlpatterns = [
    path(AT, seasons.seasons, name="seasons"),
    path(AT + "table.csv", changed.seasons_csv, name="seasons_csv"),
    path(AT + "changed/", changed.season_changed, name="season_changed"),
    path(AT + "changed/table.csv", changed.season_changed_csv, name="season_changed_csv"),
    path(AT + "coverage/", seasons.season_coverage, name="season_coverage"),
    path(AT + "coverage/table.csv", changed.season_coverage_csv, name="season_coverage_csv"),
    path(AT + "map/", seasons.season_map, name="season_map"),
    path(AT + "visits/", seasons.season_visits, name="season_visits"),
    path(AT + "visits/table.csv", changed.season_visits_csv, name="season_visits_csv"),
]
