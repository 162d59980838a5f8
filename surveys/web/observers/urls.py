from django.urls import URLPattern, path

from surveys.web.observers import views

AT = "<slug:program>/program/people/"

urlpatterns: list[URLPattern] = [
    path(AT + "observers/", views.observers, name="observers"),
    path(AT + "observers/table.csv", views.observers_file, name="observers_csv"),
    path(AT + "<int:membership>/surveys", views.observer, name="observer_surveys"),
    path("<slug:program>/your-surveys/", views.own_surveys, name="own_surveys"),
]
