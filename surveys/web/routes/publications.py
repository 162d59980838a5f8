from django.urls import path

from surveys.web.views import publications

urlpatterns = [
    path("<slug:programme>/publications/", publications.publications, name="publications"),
    path("<slug:programme>/publications/publish/", publications.publish, name="publish"),
    path(
        "<slug:programme>/publications/<int:season_year>/<int:version>/",
        publications.publication,
        name="publication",
    ),
    path(
        "<slug:programme>/publications/<int:season_year>/<int:version>/<str:kind>",
        publications.publication_file,
        name="publication_file",
    ),
]
