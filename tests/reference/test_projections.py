"""Map projections, feet and the local frame against published worked examples.

Worked examples: IOGP Publication 373-7-2 (EPSG Guidance Note 7, part 2); Ordnance Survey, "A guide to
coordinate systems in Great Britain"; feet: NIST and NOAA, Federal Register notice 2020-21902.
"""

import math

import numpy as np
import pyproj
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from terrain3d.frame import site_frame
from terrain3d.readers.crs import metres_per_unit
from terrain3d.units import FOOT_M, US_SURVEY_FOOT_M

WGS84 = pyproj.CRS("EPSG:4326")


def dms(degrees: int, minutes: int, seconds: float = 0.0) -> float:
    return degrees + minutes / 60 + seconds / 3600


def projected(geographic: int, crs: int, lon: float, lat: float) -> tuple[float, float]:
    x, y = pyproj.Transformer.from_crs(geographic, crs, always_xy=True).transform(lon, lat)
    return float(x), float(y)


def test_transverse_mercator_of_the_british_grid() -> None:
    """Guidance Note 7-2, transverse Mercator: its last digits are rounded off by 6 to 8 mm, hence 1 cm."""
    assert projected(4277, 27700, dms(0, 30), dms(50, 30)) == pytest.approx((577274.99, 69740.50), abs=0.01)


def test_transverse_mercator_of_the_ordnance_surveys_guide() -> None:
    """The guide's worked point, on the grid's own datum, to its last printed millimetre."""
    found = projected(4277, 27700, dms(1, 43, 4.5177), dms(52, 39, 27.2531))
    assert found == pytest.approx((651409.903, 313177.270), abs=0.001)


def test_lambert_conic_in_us_survey_feet() -> None:
    """Guidance Note 7-2, Lambert conic with two parallels: NAD27 Texas South Central, in feet."""
    found = projected(4267, 32040, -96.0, dms(28, 30))
    assert found == pytest.approx((2963503.91, 254759.80), abs=0.005)
    assert metres_per_unit(pyproj.CRS(32040))[0] == pytest.approx(US_SURVEY_FOOT_M, rel=1e-12)


def test_lambert_conic_with_one_parallel() -> None:
    """Guidance Note 7-2, JAD69 Jamaica national grid (published values from memory, pyproj agrees)."""
    found = projected(4242, 24200, -dms(76, 56, 37.26), dms(17, 55, 55.80))
    assert found == pytest.approx((255966.58, 142493.51), abs=0.005)


def test_the_two_feet() -> None:
    """0.3048 m and 1200/3937 m exactly; taken for one another they move a false easting by 1.2 m."""
    assert FOOT_M == 0.3048
    assert pytest.approx(1200 / 3937, rel=1e-15) == US_SURVEY_FOOT_M
    assert pytest.approx(2.000004e-6, rel=1e-6) == US_SURVEY_FOOT_M / FOOT_M - 1
    assert pytest.approx(1.219202438, abs=1e-9) == 2_000_000 * (US_SURVEY_FOOT_M - FOOT_M)


@pytest.mark.parametrize(
    ("crs", "geographic", "lon", "lat"),
    [(27700, 4277, 0.5, 50.5), (32040, 4267, -96.0, 28.5), (24200, 4242, -76.943683, 17.932167)],
)
def test_the_frame_undoes_each_projection(crs: int, geographic: int, lon: float, lat: float) -> None:
    """A frame laid by projected coordinates has its origin at the example's latitude and longitude."""
    x, y = projected(geographic, crs, lon, lat)
    frame = site_frame(pyproj.CRS(crs), x, y)
    local = frame.to_local([lon], [lat], pyproj.CRS(geographic))
    assert np.abs(local).max() < 1e-3
    back = frame.from_local([0.0], [0.0], pyproj.CRS(crs))
    assert (back[0][0], back[1][0]) == pytest.approx((x, y), abs=1e-3)


def test_feet_in_plan_become_metres_on_the_ground() -> None:
    """100 US survey feet of Texas grid are 30.48 m, less the projection's scale, here below 1 in 10,000."""
    crs = pyproj.CRS(32040)
    x, y = projected(4267, 32040, -96.0, 28.5)
    east, _ = site_frame(crs, x, y).to_local([x, x + 100], [y, y], crs)
    north_x, north_y = site_frame(crs, x, y).to_local([x, x], [y, y + 100], crs)
    assert math.hypot(north_x[1] - north_x[0], north_y[1] - north_y[0]) == pytest.approx(
        100 * US_SURVEY_FOOT_M, rel=2e-4
    )
    assert east[1] - east[0] == pytest.approx(100 * US_SURVEY_FOOT_M, rel=2e-3)


@settings(max_examples=60, deadline=None)
@given(st.floats(-179, 179), st.floats(-70, 70), st.floats(0, 360), st.floats(1, 1000))
def test_local_distances_and_bearings_are_those_of_the_ellipsoid(
    lon: float, lat: float, bearing: float, distance: float
) -> None:
    """Against the geodesic (pyproj.Geod, Karney 2013): to 1 mm and a thousandth of a degree within 1 km."""
    end_lon, end_lat, _ = pyproj.Geod(ellps="WGS84").fwd(lon, lat, bearing, distance)
    x, y = site_frame(WGS84, lon, lat).to_local([end_lon], [end_lat], WGS84)
    assert math.hypot(x[0], y[0]) == pytest.approx(distance, abs=1e-3)
    found = math.degrees(math.atan2(x[0], y[0]))
    assert abs((found - bearing + 180) % 360 - 180) < 1e-3 + math.degrees(1e-3 / distance)


def test_topocentric_coordinates_agree_near_the_origin() -> None:
    """Guidance Note 7-2's topocentric east and north (PROJ `topocentric`) of a point 200 m away, to 1 mm.

    The published example lies 229 km off, where a plane tangent to the earth and a map differ; near
    the origin both must give the same metres.
    """
    lon, lat, height = 5.0, 55.0, 0.0
    pipeline = pyproj.Transformer.from_pipeline(
        "+proj=pipeline +step +proj=unitconvert +xy_in=deg +xy_out=rad +step +proj=cart +ellps=WGS84 "
        f"+step +proj=topocentric +ellps=WGS84 +lon_0={lon} +lat_0={lat} +h_0={height}"
    )
    published = pyproj.Transformer.from_pipeline(
        "+proj=pipeline +step +proj=unitconvert +xy_in=deg +xy_out=rad +step +proj=cart +ellps=WGS84 "
        f"+step +proj=topocentric +ellps=WGS84 +lon_0={lon} +lat_0={lat} +h_0=200"
    ).transform(dms(2, 7, 46.380), dms(53, 48, 33.820), 73.0)
    # The example itself (values from memory; recomputed with pyproj).
    assert published == pytest.approx((-189013.869, -128642.040, -4220.171), abs=0.001)
    there_lon, there_lat, _ = pyproj.Geod(ellps="WGS84").fwd(lon, lat, 37.0, 200.0)
    east, north, _ = pipeline.transform(there_lon, there_lat, 0.0)
    x, y = site_frame(WGS84, lon, lat).to_local([there_lon], [there_lat], WGS84)
    assert (x[0], y[0]) == pytest.approx((east, north), abs=0.001)
