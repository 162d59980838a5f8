"""The screens. `program` is always the program's slug."""

from django.urls import path

from surveys.web.calendars import urls as calendars
from surveys.web.call_tests import urls as call_tests
from surveys.web.calls import urls as calls
from surveys.web.check_ins import urls as check_ins
from surveys.web.desk import urls as desk
from surveys.web.guide import urls as guide
from surveys.web.home import views as home
from surveys.web.importing import urls as importing
from surveys.web.land import urls as land
from surveys.web.letters import urls as letters
from surveys.web.observers import urls as observers
from surveys.web.operations import urls as operations
from surveys.web.people import urls as people
from surveys.web.planning import urls as planning
from surveys.web.power import urls as power
from surveys.web.practice import urls as practice
from surveys.web.program import urls as program
from surveys.web.publications import urls as publications
from surveys.web.published import urls as published
from surveys.web.recordings import urls as recordings
from surveys.web.reminders import urls as reminders
from surveys.web.review import urls as review
from surveys.web.review_many import urls as review_many
from surveys.web.route_import import urls as route_import
from surveys.web.seasons import urls as seasons
from surveys.web.security_txt import security_txt
from surveys.web.sharing import urls as sharing
from surveys.web.sheets import urls as sheets
from surveys.web.stations import urls as stations
from surveys.web.survey import urls as survey
from surveys.web.tonight import urls as tonight
from surveys.web.trends import (
    species_urls as trend_species,
)
from surveys.web.trends import (
    urls as trends,
)
from surveys.web.visits import urls as visits
from surveys.web.wetlands import urls as wetlands

app_name = "web"
urlpatterns = [
    path("", home.home, name="home"),
    path("theme", home.theme, name="theme"),
    path(".well-known/security.txt", security_txt, name="security_txt"),
    *operations.urlpatterns,
    *published.urlpatterns,
    *guide.urlpatterns,
    *land.urlpatterns,
    *desk.urlpatterns,
    *tonight.urlpatterns,
    *planning.urlpatterns,
    *survey.urlpatterns,
    *sheets.urlpatterns,
    *recordings.urlpatterns,
    *calls.urlpatterns,
    *practice.urlpatterns,
    *call_tests.urlpatterns,
    *review.urlpatterns,
    *review_many.urlpatterns,
    *visits.urlpatterns,
    *seasons.urlpatterns,
    *trends.urlpatterns,
    *trend_species.urlpatterns,
    *power.urlpatterns,
    *publications.urlpatterns,
    *program.urlpatterns,
    *route_import.urlpatterns,
    *stations.urlpatterns,
    *wetlands.urlpatterns,
    *people.urlpatterns,
    *observers.urlpatterns,
    *check_ins.urlpatterns,
    *reminders.urlpatterns,
    *letters.urlpatterns,
    *calendars.urlpatterns,
    *sharing.urlpatterns,
    *importing.urlpatterns,
]
