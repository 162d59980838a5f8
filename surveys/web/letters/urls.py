from django.urls import URLPattern, path

from surveys.web.letters import views

AT = "<slug:program>/program/emails/"

urlpatterns: list[URLPattern] = [
    path(AT, views.letters, name="letters"),
    path(AT + "write", views.write, name="letter_write"),
    path(AT + "<int:letter>", views.letter, name="letter"),
]
