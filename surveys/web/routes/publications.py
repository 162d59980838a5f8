from django.urls import path

from surveys.web.views import publication_changes, publications, publish

AT = "<slug:program>/publications/"
ONE = AT + "<int:season_year>/<int:version>/"

urlpatterns = [
    path(AT, publications.publications, name="publications"),
    path(AT + "publish/", publish.publish, name="publish"),
    path(AT + "runs/<int:run_id>/", publish.publishing_run, name="publishing_run"),
    path(ONE, publications.publication, name="publication"),
    path(ONE + "changes/", publication_changes.publication_changes, name="publication_changes"),
    path(ONE + "<path:kind>", publications.publication_file, name="publication_file"),
]
