"""Figure against ground in the infrared: what stays held as the ground warms to the figure's own heat.

A unit answers to the difference of radiance, 8 to 14 micrometres, between a figure and the ground it
passes. Surfaces are grey and diffuse. The ground reflects the sky; an upright figure reflects half sky
and half ground (the view factors of an upright plane over a level one); the sky is `sky_below` kelvin
colder than the ground, and at 0, thick cloud, it is the ground's own temperature: then the ground's
emissivity plays no part and the contrast is emissivity * (L(figure) - L(ground)).

A layer's signal goes with fill * |contrast|. The marks of fill are those at the reference contrast, so
under it a layer needs mark / ratio, and more than a whole layer cannot be filled. Over it nothing is
made easier: what the plain map does not hold, no cool night adds. The figure's own surface is kept at one
temperature, though clothing follows the air; air between unit and figure is left out.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.constants import c, h, k, zero_Celsius
from scipy.optimize import brentq

from terrain3d.cover.areas import all_protected_m2, cells_within
from terrain3d.cover.option import OptionResult
from terrain3d.cover.verdict import Verdict
from terrain3d.site import HeatSetting
from terrain3d.terrain import Terrain
from terrain3d.units import Floats

#: The band of long-wave sensing, metres.
BAND_M = (8e-6, 14e-6)
#: A borrowed test condition: figure over background, K, and the background, degrees C. From memory of an
#: indoor standard that does not cover outdoor units; not verified against it.
REFERENCE_K, REFERENCE_GROUND_C = 3.5, 20.0
#: Shares of the held ground whose loss is told.
LOSSES = (0.05, 0.5, 1.0)

_C2 = h * c / k
#: Exact, from the exact constants; the tables print ten digits of it.
_SIGMA = 2 * math.pi**5 * k**4 / (15 * h**3 * c**2)
#: The fine curve's step, K, and how finely a share of the reference contrast is told.
_FINE_K, _HALVINGS = 0.1, 40
#: Temperatures between which those of a given contrast are looked for, degrees C.
_COLDEST_C, _HOTTEST_C = -150.0, 300.0


@dataclass(frozen=True, eq=False)
class HeatCurve:
    """What is held at each ground temperature.

    Parameters
    ----------
    grounds_c : (n,) float
        Degrees C.
    contrast : (n,) float
        Figure minus ground, W/m2/sr in the band; negative where the figure shows colder.
    ratio : (n,) float
        Size of the contrast over the reference's.
    held_m2 : (n,) float
        Ground held with both layers.
    protected_share : (n,) float or None
        Share of the protected ground so held; None where none is protected.
    """

    grounds_c: Floats
    contrast: Floats
    ratio: Floats
    held_m2: Floats
    protected_share: Floats | None


@dataclass(frozen=True)
class Loss:
    """Between these ground temperatures (degrees C) at least `share` of the held ground is lost.

    None is beyond any temperature looked at.
    """

    share: float
    from_c: float | None
    to_c: float | None


@dataclass(frozen=True, eq=False)
class HeatResult:
    """One option as the ground warms.

    `table` is at the temperatures of the site file, `curve` at fine steps between the first and last of
    them. `losses` go with `LOSSES` and are empty where the option holds nothing at any temperature; `full_m2`
    is what is held at full contrast.
    """

    setting: HeatSetting
    table: HeatCurve
    curve: HeatCurve
    losses: tuple[Loss, ...]
    full_m2: float

    @property
    def silent_from_c(self) -> float | None:
        """Ground temperature from which nothing is held; None where there is none."""
        return self.losses[-1].from_c if self.losses else None

    @property
    def silent_to_c(self) -> float | None:
        """Ground temperature up to which nothing is held; None where there is none."""
        return self.losses[-1].to_c if self.losses else None


def blackbody_fraction(wavelength_m: float, temperature_k: ArrayLike) -> Floats:
    """Share of a black body's radiance at wavelengths up to the given one.

    Parameters
    ----------
    wavelength_m : float
    temperature_k : (n,) float
        Above 0.

    Notes
    -----
    Planck's law integrated term by term, z = C2 / (wavelength * temperature):
    F = 15 / pi^4 * sum over n of exp(-n z) / n * (z^3 + 3 z^2 / n + 6 z / n^2 + 6 / n^3).

    Examples
    --------
    >>> blackbody_fraction(2898e-6, [1.0]).round(6)       # one quarter lies below the peak
    array([0.250106])
    """
    z = _C2 / (wavelength_m * np.asarray(temperature_k, float)[..., None])
    # Terms fall by exp(-z) each; those left out are below rounding.
    n = np.arange(1, 3 + math.ceil(40 / float(z.min())))
    terms = np.exp(-n * z) / n * (z**3 + 3 * z**2 / n + 6 * z / n**2 + 6 / n**3)
    share: Floats = 15 / math.pi**4 * terms.sum(axis=-1)
    return share


def band_radiance(temperature_c: ArrayLike, band_m: tuple[float, float] = BAND_M) -> Floats:
    """Radiance of a black body in a band, W/m2/sr.

    Parameters
    ----------
    temperature_c : (n,) float
        Degrees C.
    band_m : (from, to)
        Wavelengths, metres.

    Examples
    --------
    >>> band_radiance([0.0, 20.0]).round(4)
    array([35.152 , 49.3729])
    """
    kelvin = np.asarray(temperature_c, float) + zero_Celsius
    share = blackbody_fraction(band_m[1], kelvin) - blackbody_fraction(band_m[0], kelvin)
    radiance: Floats = _SIGMA * kelvin**4 / math.pi * share
    return radiance


def contrast(heat: HeatSetting, grounds_c: ArrayLike) -> Floats:
    """Radiance of the figure less that of the ground, W/m2/sr, at ground temperatures in degrees C.

    >>> contrast(HeatSetting(figure=30.0), [20.0, 30.0]).round(4)
    array([7.8257, 0.    ])
    """
    grounds = np.asarray(grounds_c, float)
    sky = band_radiance(grounds - heat.sky_below)
    # Differences first: equal radiances then cancel without a trace of rounding.
    ground = sky + heat.ground_emissivity * (band_radiance(grounds) - sky)
    around = (ground + sky) / 2
    difference: Floats = heat.emissivity * (band_radiance(heat.figure) - around) + (around - ground)
    return difference


@lru_cache(maxsize=1)
def reference_contrast() -> float:
    """The contrast that the marks of fill are taken to be for, W/m2/sr: 3.5 K over black ground at 20 C.

    >>> round(reference_contrast(), 4)
    2.7966
    """
    pair = band_radiance([REFERENCE_GROUND_C, REFERENCE_GROUND_C + REFERENCE_K])
    return float(pair[1] - pair[0])


def held_by_temperature(
    terrain: Terrain, option: OptionResult, figure_height_m: float, heat: HeatSetting
) -> HeatResult:
    """What an option holds at each ground temperature; casts no ray.

    Parameters
    ----------
    terrain : Terrain
    option : OptionResult
    figure_height_m : float
        Height of the figure, metres.
    heat : HeatSetting
    """
    areas = [cells_within(terrain.ground, area).ravel() for area in terrain.protect]
    cell_m2 = terrain.ground.cell_m**2

    @cache
    def held_at(strength: float) -> tuple[int, int]:
        """Cells held, and those of protected ground, at a share of the reference contrast up to 1."""
        held = _held(terrain.ground.z.size, option, figure_height_m, strength)
        return int(held.sum()), sum(int((held & within).sum()) for within in areas)

    def curve(grounds_c: Floats) -> HeatCurve:
        signed = contrast(heat, grounds_c)
        ratio = np.abs(signed) / reference_contrast()
        counts = np.array([held_at(float(strength)) for strength in np.minimum(ratio, 1.0)], float)
        protected = all_protected_m2(terrain.ground, terrain.protect) / cell_m2
        share = counts[:, 1] / protected if protected else None
        return HeatCurve(grounds_c, signed, ratio, counts[:, 0] * cell_m2, share)

    table = np.array(heat.grounds, float)
    # One temperature given twice still gets a curve, of a kelvin around it.
    middle, half = (table.min() + table.max()) / 2, max(float(np.ptp(table)) / 2, 0.5)
    low, high = float(middle - half), float(middle + half)
    fine = np.linspace(low, high, 1 + math.ceil((high - low) / _FINE_K - 1e-9))
    losses = _losses(lambda strength: held_at(strength)[0], heat)
    return HeatResult(heat, curve(table), curve(fine), losses, held_at(1.0)[0] * cell_m2)


def _held(n_cells: int, option: OptionResult, figure_height_m: float, strength: float) -> NDArray[np.bool_]:
    """(n_cells,) bool: held with both layers where the contrast is a share of the reference's, up to 1."""
    maps = np.zeros((len(option.units), n_cells), bool)
    for own, sighted in zip(maps, option.units, strict=True):
        if strength > 0:
            own[sighted.seen.cells] = sighted.codes(figure_height_m, strength) == Verdict.BOTH
    together: NDArray[np.bool_] = np.all(maps, axis=0) if option.combine == "all" else np.any(maps, axis=0)
    return together


def _losses(held_at: Callable[[float], int], heat: HeatSetting) -> tuple[Loss, ...]:
    """The temperatures between which each of `LOSSES` is lost.

    What is held only grows with the strength of the contrast, so the strength is found by halving, and
    the temperatures that have it as roots of the contrast, which only falls as the ground warms.
    """
    full = held_at(1.0)
    if full == 0:
        return ()
    losses = []
    for share in LOSSES:
        lost, kept = 0.0, 1.0
        for _ in range(_HALVINGS):
            middle = (lost + kept) / 2
            if held_at(middle) <= (1 - share) * full + 1e-9:
                lost = middle
            else:
                kept = middle
        level = lost * reference_contrast()
        losses.append(Loss(share, _ground_of(heat, level), _ground_of(heat, -level)))
    return tuple(losses)


def _ground_of(heat: HeatSetting, level: float) -> float | None:
    """Ground temperature at which the contrast is `level`; None where no temperature has it."""

    def over(ground_c: float) -> float:
        return float(contrast(heat, ground_c)) - level

    if over(_COLDEST_C) < 0 or over(_HOTTEST_C) > 0:
        return None
    return float(brentq(over, _COLDEST_C, _HOTTEST_C, xtol=1e-10))
