"""The part of the map that a phone takes along with a route."""

from collections.abc import Sequence
from typing import Any

from surveys.land import around
from surveys.land.files import land_file, own_file
from surveys.protocol.values import Place
from surveys.web.survey.keeping import kept


def ground_of(places: Sequence[Place]) -> dict[str, Any] | None:
    """As `part_around`; anew when the stops move or a file of the map is exchanged."""
    files = [(file.path, file.version) for file in (land_file(), own_file()) if file]
    return kept(
        lambda: around.part_around(places), (places, files), modules=(around,), library="pmtiles"
    )
