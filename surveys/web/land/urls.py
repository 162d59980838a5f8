from django.urls import path

from surveys.land.files import LAND, OWN
from surveys.web.land import views as land

urlpatterns = [
    path("map/land.pmtiles", land.map_file, {"name": LAND}, name="map_land"),
    path("map/own.pmtiles", land.map_file, {"name": OWN}, name="map_own"),
]
