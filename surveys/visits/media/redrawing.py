"""Draws a photo again, so that no location, camera or owner tag of the original remains. Runs in
`surveys.bounded`."""

import io

from PIL import Image, ImageOps

from surveys.bounded import RefusedError
from surveys.language import gettext_noop as _

MAX_SIDE = 2400
# A JPEG can be decoded at a fraction of its size. Others are decoded whole, however few bytes
# they have: 330 kB of PNG can be 80 million pixels.
MAX_PIXELS = {"JPEG": 80_000_000, "PNG": 25_000_000, "WEBP": 25_000_000}
_QUALITY = 85


def redraw(content: bytes) -> bytes:
    """The image as a new JPEG: upright, at most MAX_SIDE pixels a side, without tags.

    Raises RefusedError for one that is too large, and what Pillow raises for one that is broken.
    """
    # The limits here are narrower, and are checked before anything is decoded.
    Image.MAX_IMAGE_PIXELS = None
    image = Image.open(io.BytesIO(content), formats=list(MAX_PIXELS))
    _check_pixels(image)
    image.draft("RGB", (2 * MAX_SIDE, 2 * MAX_SIDE))
    # First of all: what follows then needs little memory.
    image.thumbnail((MAX_SIDE, MAX_SIDE))
    flat = _flatten_on_white(ImageOps.exif_transpose(image))
    buffer = io.BytesIO()
    flat.save(buffer, "JPEG", quality=_QUALITY)
    return buffer.getvalue()


def _check_pixels(image: Image.Image) -> None:
    most = MAX_PIXELS[image.format]
    if image.width * image.height > most:
        raise RefusedError(
            _(
                "The photo has {width} × {height} pixels; {most} million are allowed in a file "
                "of the type {kind}. Send a smaller one."
            ),
            width=image.width,
            height=image.height,
            most=most // 1_000_000,
            kind=image.format,
        )


def _flatten_on_white(image: Image.Image) -> Image.Image:
    """A new image with only the pixels; transparent parts become white."""
    layer = image.convert("RGBA")
    flat = Image.new("RGB", layer.size, "white")
    flat.paste(layer, mask=layer.getchannel("A"))
    return flat
