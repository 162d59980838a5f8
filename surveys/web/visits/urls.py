from django.urls import path

from surveys.web.visits import views as visits

urlpatterns = [
    path("<slug:program>/visits/<uuid:visit_id>/", visits.visit, name="visit"),
    path("<slug:program>/visits/<uuid:visit_id>/message", visits.message, name="visit_message"),
    path(
        "<slug:program>/visits/<uuid:visit_id>/withdraw",
        visits.withdraw,
        name="visit_withdraw",
    ),
    path(
        "<slug:program>/visits/<uuid:visit_id>/guest/erase",
        visits.forget_guest,
        name="visit_guest_erase",
    ),
]
