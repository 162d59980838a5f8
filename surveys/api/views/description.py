"""The OpenAPI description and the page that shows it, for signed-in people only."""

from drf_spectacular.views import SpectacularAPIView, SpectacularSwaggerSplitView
from rest_framework.permissions import IsAuthenticated


class Schema(SpectacularAPIView):
    permission_classes = [IsAuthenticated]


class Docs(SpectacularSwaggerSplitView):
    """The split view sends its script as a file of its own, and the template has no
    style inline, so that the site's content security policy holds here too."""

    permission_classes = [IsAuthenticated]
    template_name = "api/docs.html"
    url_name = "api:schema"
