from django.urls import path

from surveys.web.stations import views as stations

urlpatterns = [
    path("<slug:program>/program/stations", stations.stations, name="stations"),
    path(
        "<slug:program>/program/stations/<int:station>/delete",
        stations.delete,
        name="station_delete",
    ),
]
