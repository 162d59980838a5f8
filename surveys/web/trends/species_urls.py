from django.urls import path, re_path

from surveys.web.trends import (
    comparison_views as trend_compare,
)
from surveys.web.trends import (
    species_views as trend_species,
)

urlpatterns = [
    path("<slug:program>/trends/species/<slug:code>/", trend_species.species, name="trend_species"),
    path(
        "<slug:program>/trends/species/<slug:code>/table.csv",
        trend_species.table,
        name="trend_species_csv",
    ),
    re_path(
        r"^(?P<program>[-a-zA-Z0-9_]+)/trends/species/(?P<code>[-a-zA-Z0-9_]+)/chart"
        r"\.(?P<form>svg|png)$",
        trend_species.chart,
        name="trend_chart",
    ),
    path("<slug:program>/trends/compare/", trend_compare.compare, name="trend_compare"),
    re_path(
        r"^(?P<program>[-a-zA-Z0-9_]+)/trends/compare/chart\.(?P<form>svg|png)$",
        trend_compare.chart,
        name="trend_compare_chart",
    ),
]
