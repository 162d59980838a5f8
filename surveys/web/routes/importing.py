from django.urls import path

from surveys.web.views import importing

urlpatterns = [
    path("<slug:programme>/import/", importing.start, name="import_start"),
    path(
        "<slug:programme>/import/template.<slug:kind>", importing.template, name="import_template"
    ),
    path(
        "<slug:programme>/import/<uuid:upload>/columns/", importing.columns, name="import_columns"
    ),
    path("<slug:programme>/import/<uuid:upload>/", importing.preview, name="import_preview"),
    path("<slug:programme>/import/<uuid:upload>/commit/", importing.commit, name="import_commit"),
    path("<slug:programme>/import/<uuid:upload>/discard/", importing.forget, name="import_discard"),
]
