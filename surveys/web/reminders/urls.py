from django.urls import URLPattern, path

from surveys.web.reminders import views

urlpatterns: list[URLPattern] = [
    path("reminders/by-link/<str:token>", views.stop_reminders, name="reminder_stop"),
    path("<slug:program>/program/reminders/", views.reminders, name="reminders"),
    path("<slug:program>/program/reminders/<slug:reminder>", views.reminder, name="reminder"),
]
