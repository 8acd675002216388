"""A picture that stands on paper, such as a consultant's sign: PNG or JPEG, taken as pixels alone."""

from io import BytesIO
from pathlib import Path

from PIL import Image, UnidentifiedImageError

from terrain3d.apart import read_apart
from terrain3d.errors import InputError
from terrain3d.outside import content

_MOST_BYTES, _MOST_PIXELS = 20_000_000, 40_000_000
#: What is kept along its longer side, pixels: 16 cm of paper at 300 dots an inch.
_KEPT_PX = 1900


def logo_png(path: Path) -> bytes:
    """The pixels of a logo as PNG, without anything else that its file holds; the same file, the same bytes.

    Raises
    ------
    InputError
        When there is no such file, or it is no PNG or JPEG, damaged or too large.
    """
    found: bytes = read_apart(_png, [path], path)
    return found


def _png(path: Path) -> bytes:
    mend = "give a PNG or JPEG, some hundreds of pixels wide"
    raw = content(path, _MOST_BYTES, mend)
    try:
        with Image.open(BytesIO(raw), formats=("PNG", "JPEG")) as picture:
            if picture.width * picture.height > _MOST_PIXELS:
                raise InputError(f"it has {picture.width} x {picture.height} pixels", str(path), mend)
            pixels = picture.convert("RGBA")
    except InputError:
        raise
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError, Image.DecompressionBombError):
        raise InputError("it is no PNG or JPEG that can be read", str(path), mend) from None
    pixels.thumbnail((_KEPT_PX, _KEPT_PX))
    found = BytesIO()
    Image.frombytes("RGBA", pixels.size, pixels.tobytes()).save(found, "PNG")
    return found.getvalue()
