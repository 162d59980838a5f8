from django.urls import URLPattern, path

from surveys.web.desk import views

urlpatterns: list[URLPattern] = [
    path("<slug:program>/desk/", views.desk, name="desk"),
    path("<slug:program>/desk/<slug:block>.csv", views.desk_csv, name="desk_csv"),
]
