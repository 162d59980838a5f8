from django.urls import path

from surveys.web.guide import views as guide

urlpatterns = [
    path("guide/", guide.guide, name="guide"),
    path("guide/rules/<slug:code>/", guide.rule, name="rule"),
    path("guide/<slug:slug>/", guide.page, name="guide_page"),
]
