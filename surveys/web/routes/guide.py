from django.urls import path

from surveys.web.views import guide

urlpatterns = [
    path("guide/", guide.guide, name="guide"),
    path("guide/rules/<slug:code>/", guide.rule, name="rule"),
    path("guide/<slug:slug>/", guide.page, name="guide_page"),
]
