from django.urls import path

from surveys.web.sheets import (
    photo_views as sheet_photos,
)
from surveys.web.sheets import (
    views as sheets,
)

urlpatterns = [
    path("<slug:program>/sheets/", sheets.sheets, name="sheets"),
    path("<slug:program>/sheets/new/", sheets.new, name="sheet_new"),
    path("<slug:program>/sheets/<uuid:visit_id>/", sheets.sheet, name="sheet"),
    path("<slug:program>/sheets/<uuid:visit_id>/cells", sheets.cells, name="sheet_cells"),
    path("<slug:program>/sheets/<uuid:visit_id>/submit", sheets.submit, name="sheet_submit"),
    path("<slug:program>/sheets/<uuid:visit_id>/discard", sheets.discard, name="sheet_discard"),
    path(
        "<slug:program>/sheets/<uuid:visit_id>/photos/<int:row>",
        sheet_photos.photo,
        name="sheet_photo",
    ),
]
