"""The OpenAPI description and the page that shows it, for signed-in people only."""

from drf_spectacular.views import SpectacularAPIView, SpectacularSwaggerSplitView
from rest_framework.permissions import IsAuthenticated


class Schema(SpectacularAPIView):
    permission_classes = [IsAuthenticated]


class Docs(SpectacularSwaggerSplitView):
    """The split view serves its script separately, and the template has no inline style, so that
    the page complies with the site's content security policy."""

    permission_classes = [IsAuthenticated]
    template_name = "api/docs.html"
    url_name = "api:schema"
