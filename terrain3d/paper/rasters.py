"""Maps as GeoTIFF, in the local frame with its CRS: `verdicts.tif` has one band an option."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain3d import palette
from terrain3d.caution import CAUTION
from terrain3d.cover.verdict import UNKNOWN, Verdict
from terrain3d.job import Outcome
from terrain3d.sentences.verdicts import VERDICT_WORDS
from terrain3d.terrain import Terrain
from terrain3d.wording import slug


def verdicts_tif(outcome: Outcome) -> bytes:
    """The bytes of a GeoTIFF, uint8, north up; band descriptions are the option names."""
    bands = [(option.name, option.verdicts) for option in outcome.options]
    return bands_tif(
        outcome.terrain, bands, UNKNOWN, _MEANING, _verdict_colours() if len(bands) == 1 else None
    )


def option_tifs(outcome: Outcome) -> dict[str, bytes]:
    """A GeoTIFF of one band with a colour table for each of several options, by file name."""
    if len(outcome.options) < 2:
        return {}
    return {
        f"{number:02d}-verdicts-{slug(option.name)}.tif": bands_tif(
            outcome.terrain, [(option.name, option.verdicts)], UNKNOWN, _MEANING, _verdict_colours()
        )
        for number, option in enumerate(outcome.options, 1)
    }


#: What the numbers of a map mean.
_MEANING = {f"VERDICT_{int(code)}": words for code, words in VERDICT_WORDS.items()}


def _verdict_colours() -> dict[int, tuple[int, int, int]]:
    """The colours of pages, by the numbers of a map."""
    named = {int(code): colour for code, colour in palette.VERDICT_COLOURS.items()}
    told = {**named, UNKNOWN: palette.UNKNOWN_GROUND}
    return {code: tuple(palette.rgb(colour).tolist()) for code, colour in told.items()}


def leaves_tif(outcome: Outcome) -> bytes:
    """The bytes of a GeoTIFF likewise: where a verdict hangs on leaves, what it is without any, else 0."""
    meaning = {"VALUE_0": "the same with leaves and without"}
    meaning |= {
        f"VALUE_{int(code)}": f"without leaves: {words}"
        for code, words in VERDICT_WORDS.items()
        if code != Verdict.OUTSIDE
    }
    bands = [(option.name, option.without_leaves) for option in outcome.options]
    return bands_tif(outcome.terrain, bands, UNKNOWN, meaning)


def bands_tif(
    terrain: Terrain,
    bands: Sequence[tuple[str, NDArray[Any]]],
    nodata: float,
    tags: Mapping[str, str],
    colours: Mapping[int, tuple[int, int, int]] | None = None,
) -> bytes:
    """The bytes of a GeoTIFF on the ground's grid, north up.

    Parameters
    ----------
    terrain : Terrain
    bands : sequence of (str, (ny, nx) array)
        What each band is called, and its values, row 0 the southernmost; all of one dtype.
    nodata : float
    tags : mapping
        Words that go with the file; the caution is added.
    colours : mapping, optional
        Red, green, blue of each value; of one band alone.
    """
    import rasterio
    from rasterio.io import MemoryFile
    from rasterio.transform import from_origin

    ground, frame = terrain.ground, terrain.frame
    west, _, _, north = ground.bounds
    x, y = frame.from_local(west, north, None)
    profile = {
        "driver": "GTiff",
        "dtype": bands[0][1].dtype.name,
        "count": len(bands),
        "height": ground.z.shape[0],
        "width": ground.z.shape[1],
        "transform": from_origin(float(x), float(y), ground.cell_m, ground.cell_m),
        "crs": rasterio.crs.CRS.from_wkt(frame.wkt),
        "nodata": nodata,
        "compress": "deflate",
        # Four bands of bytes would be taken for red, green, blue and how much of them shows.
        "photometric": "MINISBLACK" if colours is None else "PALETTE",
        "alpha": "NO",
    }
    with MemoryFile() as memory:
        with memory.open(**profile) as raster:
            for number, (name, values) in enumerate(bands, start=1):
                raster.write(np.flipud(values), number)
                raster.set_band_description(number, name)
            if colours is not None:
                raster.write_colormap(1, dict(colours))
            raster.update_tags(CAUTION=CAUTION, **tags)
        return bytes(memory.read())
