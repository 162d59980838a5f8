from django.urls import path

from surveys.web.views import visits

urlpatterns = [
    path("<slug:program>/visits/<uuid:visit_id>/", visits.visit, name="visit"),
]
