from django.urls import URLPattern, path

from surveys.web.check_ins import views

urlpatterns: list[URLPattern] = [
    path("return-time/by-link/<str:token>", views.contact, name="check_in_contact"),
    path("<slug:program>/return-time/", views.check_in, name="check_in"),
    path(
        "<slug:program>/return-time/contacts/<int:contact>/remove",
        views.remove_contact,
        name="check_in_contact_remove",
    ),
    path("<slug:program>/return-time/<uuid:check_in>/back", views.back, name="check_in_back"),
]
