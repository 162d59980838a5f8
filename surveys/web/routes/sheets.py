from django.urls import path

from surveys.web.views import sheet_photos, sheets

urlpatterns = [
    path("<slug:programme>/sheets/", sheets.sheets, name="sheets"),
    path("<slug:programme>/sheets/new/", sheets.new, name="sheet_new"),
    path("<slug:programme>/sheets/<uuid:visit_id>/", sheets.sheet, name="sheet"),
    path("<slug:programme>/sheets/<uuid:visit_id>/cells", sheets.cells, name="sheet_cells"),
    path("<slug:programme>/sheets/<uuid:visit_id>/submit", sheets.submit, name="sheet_submit"),
    path("<slug:programme>/sheets/<uuid:visit_id>/discard", sheets.discard, name="sheet_discard"),
    path(
        "<slug:programme>/sheets/<uuid:visit_id>/photos/<int:row>",
        sheet_photos.photo,
        name="sheet_photo",
    ),
]
