from django.urls import path

from surveys.web.guide import views as guide

urlpatterns = [
    path("guide/", guide.guide, name="guide"),
    path("guide/rules/<slug:code>/", guide.rule, name="rule"),
    path("guide/species/", guide.species, name="guide_species"),
    path("guide/species/<slug:region>/", guide.species_in_region, name="guide_species_in_region"),
    path("guide/<slug:slug>/", guide.page, name="guide_page"),
]
