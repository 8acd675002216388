"""Verdicts as `verdicts.tif`: one band an option, in the local frame with its CRS."""

import numpy as np

from terrain3d.caution import CAUTION
from terrain3d.cover.verdict import UNKNOWN, VERDICT_WORDS
from terrain3d.job import Outcome


def verdicts_tif(outcome: Outcome) -> bytes:
    """The bytes of a GeoTIFF, uint8, north up; band descriptions are the option names."""
    import rasterio
    from rasterio.io import MemoryFile
    from rasterio.transform import from_origin

    ground, frame = outcome.terrain.ground, outcome.terrain.frame
    west, _, _, north = ground.bounds
    x, y = frame.from_local(west, north, None)
    profile = {
        "driver": "GTiff",
        "dtype": "uint8",
        "count": len(outcome.options),
        "height": ground.z.shape[0],
        "width": ground.z.shape[1],
        "transform": from_origin(float(x), float(y), ground.cell_m, ground.cell_m),
        "crs": rasterio.crs.CRS.from_wkt(frame.wkt),
        "nodata": UNKNOWN,
        "compress": "deflate",
    }
    meaning = {str(int(code)): words for code, words in VERDICT_WORDS.items()}
    with MemoryFile() as memory:
        with memory.open(**profile) as raster:
            for band, option in enumerate(outcome.options, start=1):
                raster.write(np.flipud(option.verdicts), band)
                raster.set_band_description(band, option.name)
            raster.update_tags(
                CAUTION=CAUTION, **{f"VERDICT_{code}": words for code, words in meaning.items()}
            )
        return bytes(memory.read())
