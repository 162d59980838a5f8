from django.urls import URLPattern, path

from surveys.web.calendars import views

urlpatterns: list[URLPattern] = [
    path("calendar/by-link/<str:token>", views.feed, name="calendar_feed"),
    path("<slug:program>/calendar/", views.calendar, name="calendar"),
]
