from django.urls import path, re_path

from surveys.web.power import views as power

urlpatterns = [
    path("<slug:program>/trends/could-we-see-it/", power.power, name="power"),
    path(
        "<slug:program>/trends/could-we-see-it/<int:study_id>/",
        power.power_study,
        name="power_study",
    ),
    re_path(
        r"^(?P<program>[-a-zA-Z0-9_]+)/trends/could-we-see-it/(?P<study_id>[0-9]+)/chart"
        r"\.(?P<form>svg|png)$",
        power.power_chart,
        name="power_chart",
    ),
]
