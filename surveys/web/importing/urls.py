from django.urls import path

from surveys.web.importing import done_views as imported
from surveys.web.importing import views as importing

urlpatterns = [
    path("<slug:program>/import/", importing.start, name="import_start"),
    path("<slug:program>/import/template.<slug:kind>", importing.template, name="import_template"),
    path("<slug:program>/import/<uuid:upload>/columns/", importing.columns, name="import_columns"),
    path("<slug:program>/import/<uuid:upload>/", importing.preview, name="import_preview"),
    path("<slug:program>/import/<uuid:upload>/layout/", importing.layout, name="import_layout"),
    path("<slug:program>/import/<uuid:upload>/fix/", importing.fix, name="import_fix"),
    path("<slug:program>/import/<uuid:upload>/commit/", importing.commit, name="import_commit"),
    path("<slug:program>/import/<uuid:upload>/undo/", imported.undo, name="import_undo"),
    path("<slug:program>/import/<uuid:upload>/again/", imported.again, name="import_again"),
    path("<slug:program>/import/<uuid:upload>/discard/", importing.forget, name="import_discard"),
]
