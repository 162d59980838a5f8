from django.urls import path

from surveys.web.publications import changes_views as publication_changes
from surveys.web.publications import publish_views as publish
from surveys.web.publications import views as publications
from surveys.web.publications import withdraw_views as withdraw

AT = "<slug:program>/publications/"
ONE = AT + "<int:season_year>/<int:version>/"

urlpatterns = [
    path(AT, publications.publications, name="publications"),
    path(AT + "publish/", publish.publish, name="publish"),
    path(AT + "runs/<int:run_id>/", publish.publishing_run, name="publishing_run"),
    path(AT + "too-exact/", withdraw.too_exact_publications, name="too_exact"),
    path(ONE, publications.publication, name="publication"),
    path(ONE + "changes/", publication_changes.publication_changes, name="publication_changes"),
    path(ONE + "withdraw/", withdraw.withdraw, name="publication_withdraw"),
    path(ONE + "<path:kind>", publications.publication_file, name="publication_file"),
]
