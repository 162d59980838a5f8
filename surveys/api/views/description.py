"""The OpenAPI description and the page that shows it, for signed-in people only."""

from functools import lru_cache
from typing import Any

from django.utils.translation import get_language
from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.views import SpectacularAPIView, SpectacularSwaggerSplitView
from rest_framework.permissions import IsAuthenticated


class _MadeOnce(SchemaGenerator):
    """Making it takes a quarter of a second, and it is the same for everybody who may see it."""

    def get_schema(self, request: object = None, public: bool = False) -> dict[str, Any]:
        return _made(self.api_version, get_language())


# A reader may name any version.
@lru_cache(maxsize=4)
def _made(version: str | None, language: str) -> dict[str, Any]:
    return SchemaGenerator(api_version=version).get_schema(request=None, public=True)


class Schema(SpectacularAPIView):
    permission_classes = [IsAuthenticated]
    generator_class = _MadeOnce


class Docs(SpectacularSwaggerSplitView):
    """The split view serves its script separately, and the template has no inline style, so that
    the page complies with the site's content security policy."""

    permission_classes = [IsAuthenticated]
    template_name = "api/docs.html"
    url_name = "api:schema"
