"""WeasyPrint, which takes long to import: this module is imported where something is printed, and
not with the site."""

from collections.abc import Mapping

from PIL import ImageFile
from weasyprint import CSS, HTML
from weasyprint.document import Document
from weasyprint.urls import URLFetcher, URLFetcherResponse

__all__ = ["CSS", "HTML", "Document", "Pictures"]

# WeasyPrint lets Pillow take broken pictures for whole ones in the entire process. What is printed
# has no such picture, and an observer's photo that arrived in part must be refused.
ImageFile.LOAD_TRUNCATED_IMAGES = False


class Pictures(URLFetcher):
    """Gives the pictures that were drawn, SVG by address, and refuses every other address."""

    def __init__(self, pictures: Mapping[str, str]) -> None:
        super().__init__(fail_on_errors=True)
        self.pictures = pictures

    def fetch(self, url: str, headers: Mapping[str, str] | None = None) -> URLFetcherResponse:
        if url not in self.pictures:
            raise ValueError(f"The report may not load {url}.")
        return URLFetcherResponse(url, self.pictures[url], {"Content-Type": "image/svg+xml"})
