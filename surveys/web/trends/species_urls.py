from django.urls import path, re_path

from surveys.web.trends import comparison_views, species_views

urlpatterns = [
    path(
        "<slug:program>/trends/species/<slug:code>/",
        species_views.species_page,
        name="trend_species",
    ),
    path(
        "<slug:program>/trends/species/<slug:code>/table.csv",
        species_views.table,
        name="trend_species_csv",
    ),
    path(
        "<slug:program>/trends/species/<slug:code>/checks.csv",
        species_views.checks,
        name="trend_species_checks",
    ),
    re_path(
        r"^(?P<program>[-a-zA-Z0-9_]+)/trends/species/(?P<code>[-a-zA-Z0-9_]+)/chart"
        r"\.(?P<form>svg|png)$",
        species_views.chart,
        name="trend_chart",
    ),
    path("<slug:program>/trends/compare/", comparison_views.compare, name="trend_compare"),
    re_path(
        r"^(?P<program>[-a-zA-Z0-9_]+)/trends/compare/chart\.(?P<form>svg|png)$",
        comparison_views.chart,
        name="trend_compare_chart",
    ),
]
