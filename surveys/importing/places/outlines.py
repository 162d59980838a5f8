"""The areas that a file of places holds."""

from surveys.importing.places.reading import places_file, read_places
from surveys.protocol.values import Place


def read_outlines(content: bytes) -> list[list[list[Place]]]:
    """Rings of corners of each polygon, the outer one first. Raises UnreadableFileError."""
    return [
        [[Place(latitude=lat, longitude=lon) for lat, lon in ring] for ring in polygon]
        for polygon in places_file(read_places(content)).outlines
    ]
