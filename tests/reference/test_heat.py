"""Black-body radiance against published constants' tables, textbooks and quadrature of Planck's law."""

import math

import numpy as np
import pytest
from scipy.constants import c, h, k
from scipy.integrate import quad

from terrain3d.conditions.heat import (
    band_radiance,
    blackbody_fraction,
    contrast,
    reference_contrast,
)
from terrain3d.site import HeatSetting

#: Kelvin; radiance of 8 to 14 micrometres, W/m2/sr; its share of all; its slope; the same three of 7 to 14.
#: Planck's law with the exact CODATA 2018 constants, by the series and by quadrature, which agreed to 1e-15.
BANDS = [
    (263.15, 29.13735543, 0.33664702, 0.56594482, 32.55346660, 0.37611606, 0.66046612),
    (273.15, 35.15196197, 0.34985081, 0.63735404, 39.61194535, 0.39423891, 0.75195741),
    (283.15, 41.89117943, 0.36107254, 0.71078709, 47.60623802, 0.41033233, 0.84753558),
    (288.15, 45.53828652, 0.36596565, 0.74811592, 51.96642992, 0.41762503, 0.89668237),
    (293.15, 49.37289478, 0.37039672, 0.78577850, 56.57441604, 0.42442272, 0.94664179),
    (298.15, 53.39653888, 0.37437944, 0.82372156, 61.43408814, 0.43073315, 0.99734545),
    (303.15, 57.61049265, 0.37792832, 0.86189404, 66.54899886, 0.43656546, 1.04872614),
    (308.15, 62.01578020, 0.38105851, 0.90024713, 71.92236795, 0.44192994, 1.10071794),
    (310.15, 63.83165245, 0.38219683, 0.91562844, 74.14474297, 0.44394724, 1.12167131),
]
#: The same of 5 to 14 micrometres, and all radiance, sigma T^4, W/m2.
WIDE = [(273.15, 44.36841206), (293.15, 65.11907956), (303.15, 77.68548272), (308.15, 84.55728228)]
TOTAL = [(273.15, 315.657822), (293.15, 418.765920), (303.15, 478.896901), (308.15, 511.281908)]
#: Wavelength times temperature, micrometre kelvin; share of all radiance below it, computed as above; and as
#: printed in tables of black-body radiation functions (from memory: Howell, Menguc and Siegel, Thermal
#: Radiation Heat Transfer, App. A; Incropera, Table 12.2; their second radiation constant is an older one).
FRACTIONS = [
    (1000, 0.00032077, 0.000321),
    (1448, 0.01000545, 0.01),
    (2000, 0.06672994, 0.066728),
    (2400, 0.14025738, 0.140256),
    (2898, 0.25010629, 0.250108),
    (3000, 0.27322926, 0.273232),
    (4000, 0.48086464, 0.480877),
    (4107, 0.49995645, 0.50),
    (5000, 0.63372587, 0.633747),
    (6000, 0.73778942, 0.737818),
    (8000, 0.85625069, 0.856288),
    (10000, 0.91415697, 0.914199),
]
#: From and to, kelvin; contrast of 8 to 14 and of 7 to 14 micrometres between black bodies, W/m2/sr.
CONTRASTS = [
    (293.15, 303.15, 8.23759787, 9.97458282),
    (293.15, 308.15, 12.64288542, 15.34795191),
    (273.15, 303.15, 22.45853068, 26.93705351),
    (303.15, 308.15, 4.40528755, 5.37336909),
    (293.15, 296.65, 2.79662138, 3.37512556),
]
LONG, LONGER, WIDEST = (8e-6, 14e-6), (7e-6, 14e-6), (5e-6, 14e-6)
#: The tables carry eight decimals.
ROUNDED = 6e-9


@pytest.mark.parametrize("row", BANDS)
def test_band_radiance(row):
    """Radiance, its share of the whole and its slope by temperature, row by row."""
    kelvin = row[0]
    for band, (radiance, share, slope) in ((LONG, row[1:4]), (LONGER, row[4:7])):
        assert band_radiance(kelvin - 273.15, band) == pytest.approx(radiance, rel=1e-8, abs=ROUNDED)
        within = blackbody_fraction(band[1], kelvin) - blackbody_fraction(band[0], kelvin)
        assert within == pytest.approx(share, abs=1e-8)
        around = band_radiance(np.array([-0.01, 0.01]) + kelvin - 273.15, band)
        assert (around[1] - around[0]) / 0.02 == pytest.approx(slope, rel=1e-7)


@pytest.mark.parametrize(("kelvin", "radiance"), WIDE)
def test_wider_band(kelvin, radiance):
    """5 to 14 micrometres."""
    assert band_radiance(kelvin - 273.15, WIDEST) == pytest.approx(radiance, rel=1e-8, abs=ROUNDED)


@pytest.mark.parametrize(("kelvin", "exitance"), TOTAL)
def test_all_wavelengths(kelvin, exitance):
    """From nothing to a metre is all there is: sigma T^4."""
    assert math.pi * band_radiance(kelvin - 273.15, (1e-7, 1.0)) == pytest.approx(exitance, rel=2e-9)


@pytest.mark.parametrize(("product", "computed", "printed"), FRACTIONS)
def test_fractions(product, computed, printed):
    """The black-body fraction function, computed and as textbooks print it."""
    share = float(blackbody_fraction(product * 1e-6, 1.0))
    assert share == pytest.approx(computed, abs=1e-8)
    assert share == pytest.approx(printed, abs=6e-5)


@pytest.mark.parametrize(("low", "high", "long", "longer"), CONTRASTS)
def test_contrasts(low, high, long, longer):
    """Between black bodies, the borrowed test condition of 3.5 K among them."""
    for band, known in ((LONG, long), (LONGER, longer)):
        pair = band_radiance([low - 273.15, high - 273.15], band)
        assert pair[1] - pair[0] == pytest.approx(known, rel=1e-8, abs=ROUNDED)


def test_the_reference():
    """The contrast that marks are taken to be for is that of 3.5 K over black ground of 20 C."""
    assert reference_contrast() == pytest.approx(2.79662138, rel=1e-8)


def test_a_kelvin_counts_more_on_warm_ground():
    """Per kelvin the contrast at 35 C is 1.412 times that at 0 C: 0.90024713 / 0.63735404."""
    step = 0.001
    slopes = band_radiance([35.0 + step, step]) - band_radiance([35.0 - step, -step])
    assert slopes[0] / slopes[1] == pytest.approx(1.412, abs=5e-4)


@pytest.mark.parametrize("celsius", [-20.0, 20.0, 45.0])
def test_the_series_is_the_integral(celsius):
    """scipy's quadrature of Planck's law, radiance by wavelength."""
    kelvin = celsius + 273.15

    def planck(micrometres):
        wave = micrometres * 1e-6
        return 2e-6 * h * c**2 / wave**5 / math.expm1(h * c / (wave * k * kelvin))

    assert band_radiance(celsius) == pytest.approx(quad(planck, 8, 14, epsabs=0, epsrel=1e-12)[0], rel=1e-11)


def test_black_figure_before_black_ground():
    """With emissivity 1 the contrast is that of black bodies, whatever the sky."""
    heat = HeatSetting(figure=30.0, emissivity=1.0, ground_emissivity=1.0, sky_below=40.0)
    assert contrast(heat, [20.0, 0.0]) == pytest.approx([8.23759787, 22.45853068], rel=1e-8)
