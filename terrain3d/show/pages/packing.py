"""A page packed as PNG (ISO/IEC 15948): opaque colours, rows as they are.

Pages are drawn: most of a row is one colour, and says more as it is than as what it differs by from the row
above. Choosing among the filters of the format for every row, as image libraries do, takes twice as long and
makes larger files.
"""

import struct
import zlib

import numpy as np

from terrain3d.palette import Rgb

_MAGIC = b"\x89PNG\r\n\x1a\n"
#: How hard to try: from 4 on packing takes half as long again, for files that are a twentieth smaller.
_LEVEL = 3
#: Rows at a time: all of them once more would be 20 MB for A4.
_ROWS = 256
_INCH_M = 0.0254


def packed(image: Rgb, dots_per_inch: float) -> bytes:
    """An image as the bytes of a PNG file; the same image gives the same bytes.

    Parameters
    ----------
    image : (ny, nx, 3) uint8
        Row 0 at the top.
    dots_per_inch : float
        Of the paper that it is made for.

    Examples
    --------
    >>> packed(np.zeros((2, 3, 3), np.uint8), 300)[:8]
    b'\\x89PNG\\r\\n\\x1a\\n'
    """
    height, width = image.shape[:2]
    squeezer = zlib.compressobj(_LEVEL)
    squeezed = []
    for top in range(0, height, _ROWS):
        band = image[top : top + _ROWS]
        # Each row after the number of its filter, which is 0: none.
        rows = np.zeros((len(band), 1 + 3 * width), np.uint8)
        rows[:, 1:].reshape(band.shape)[:] = band
        squeezed.append(squeezer.compress(rows.data))
    squeezed.append(squeezer.flush())
    dots_per_m = round(dots_per_inch / _INCH_M)
    return b"".join(
        [
            _MAGIC,
            # Eight bits of each of three colours, packed, filtered and laid in the only ways there are.
            _chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)),
            _chunk(b"pHYs", struct.pack(">IIB", dots_per_m, dots_per_m, 1)),
            _chunk(b"IDAT", b"".join(squeezed)),
            _chunk(b"IEND", b""),
        ]
    )


def _chunk(name: bytes, what: bytes) -> bytes:
    """A piece of the file: its length, its name, what it holds, and a sum over the last two."""
    return struct.pack(">I", len(what)) + name + what + struct.pack(">I", zlib.crc32(name + what))
