"""The screens. `program` is always the program's slug."""

from django.urls import path

from surveys.web.routes import (
    guide,
    importing,
    people,
    power,
    program,
    publications,
    published,
    recordings,
    review,
    seasons,
    sharing,
    sheets,
    survey,
    tonight,
    trend_species,
    trends,
    visits,
)
from surveys.web.views import home

app_name = "web"
urlpatterns = [
    path("", home.home, name="home"),
    path("theme", home.theme, name="theme"),
    path("healthz", home.healthz, name="healthz"),
    *published.urlpatterns,
    *guide.urlpatterns,
    *tonight.urlpatterns,
    *survey.urlpatterns,
    *sheets.urlpatterns,
    *recordings.urlpatterns,
    *review.urlpatterns,
    *visits.urlpatterns,
    *seasons.urlpatterns,
    *trends.urlpatterns,
    *trend_species.urlpatterns,
    *power.urlpatterns,
    *publications.urlpatterns,
    *program.urlpatterns,
    *people.urlpatterns,
    *sharing.urlpatterns,
    *importing.urlpatterns,
]
