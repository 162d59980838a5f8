"""Permanent URLs. Each also exists with the key of the program's link."""

from django.urls import URLPattern, path

from surveys.web.published import views as published

_AT = "published/<slug:program>/"
_BY_LINK = _AT + "by-link/<str:key>/"
_VERSION = "<int:season_year>/<int:version>/"
_VIEWS = (
    ("", published.published, "published"),
    ("index.json", published.published_index, "published_index"),
    ("<int:season_year>/", published.published_year, "published_year"),
    (_VERSION, published.published_version, "published_version"),
    (_VERSION + "index.json", published.published_version_index, "published_version_index"),
    (_VERSION + "dataset.jsonld", published.published_dataset, "published_dataset"),
    (_VERSION + "citation.<str:form>", published.published_citation, "published_citation"),
    (_VERSION + "files/<path:kind>", published.published_file, "published_file"),
)

urlpatterns: list[URLPattern] = [
    *(path(_AT + suffix, view, name=name) for suffix, view, name in _VIEWS),
    *(path(_BY_LINK + suffix, view, name=f"{name}_by_link") for suffix, view, name in _VIEWS),
]
