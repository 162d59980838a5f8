"""What a page with a map tells its script: where the ground of the map comes from."""

from typing import Any

from django.conf import settings
from django.urls import reverse

from surveys.land.files import MapFile, land_file, own_file


def base_map() -> dict[str, Any]:
    """URLs and attributions: of the map that ships, of the site's own file, and of the tiles of
    another host, which take the place of both."""
    land, own = land_file(), own_file()
    found: dict[str, Any] = {"land": url_of(land), "land_attribution": land.attribution}
    if own:
        found |= {
            "own": url_of(own),
            "own_attribution": own.attribution,
            "own_last_level": own.last_level,
        }
    if settings.MAP_TILES_URL:
        found |= {
            "tiles": settings.MAP_TILES_URL,
            "tiles_attribution": settings.MAP_TILES_ATTRIBUTION,
        }
    return found


def url_of(file: MapFile) -> str:
    return f"{reverse(f'web:map_{file.name}')}?v={file.version}"
