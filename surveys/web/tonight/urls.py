from django.urls import path

from surveys.web.tonight import views as tonight

urlpatterns = [
    path("<slug:program>/tonight/", tonight.tonight, name="tonight"),
    path("<slug:program>/tonight/<slug:code>/", tonight.route, name="tonight_route"),
    path("<slug:program>/tonight/<slug:code>/sheet.pdf", tonight.field_sheet, name="field_sheet"),
]
