"""URLs of a program's publications, as the current reader can open them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from django.http import HttpRequest
from django.urls import reverse

from surveys.models import Publication


@dataclass(frozen=True, kw_only=True)
class Addresses:
    """Absolute URLs. `key` is the key of the link that the reader followed, None without one."""

    request: HttpRequest
    slug: str
    key: str | None

    def program(self) -> str:
        return self._url("published")

    def index(self) -> str:
        return self._url("published_index")

    def version(self, publication: Publication) -> str:
        return self._of(publication, "published_version")

    def version_index(self, publication: Publication) -> str:
        return self._of(publication, "published_version_index")

    def dataset(self, publication: Publication) -> str:
        return self._of(publication, "published_dataset")

    def citation(self, publication: Publication, form: str) -> str:
        return self._of(publication, "published_citation", form=form)

    def file(self, publication: Publication, kind: str) -> str:
        return f"{self.version(publication)}files/{kind}"

    def keyless(self) -> Addresses:
        """URLs without the key, for citations: a key may be renewed."""
        return replace(self, key=None)

    def _of(self, publication: Publication, name: str, **more: str) -> str:
        return self._url(
            name, season_year=publication.season_year, version=publication.version, **more
        )

    def _url(self, name: str, **values: Any) -> str:
        values["program"] = self.slug
        if self.key is not None:
            name, values["key"] = f"{name}_by_link", self.key
        return self.request.build_absolute_uri(reverse(f"web:{name}", kwargs=values))
