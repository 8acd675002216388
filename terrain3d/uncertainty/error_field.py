"""Height errors of a survey as random fields: of the stated size, and alike over a stated length.

The errors are a stationary Gaussian field with the covariance rmse^2 exp(-d / length). Of the two models
in use for elevation errors (exponential and Gaussian; Oksanen & Sarjakoski 2005, Int. J. Geographical
Information Science 19:1015, find their form to matter less than size and length) the exponential one is
taken: it errs close to the unit as well as far from it, where the Gaussian one is smooth as glass.

Fields are made by circulant embedding (Dietrich & Newsam 1997, SIAM J. Sci. Comput. 18:1088): two Fourier
transforms of white noise, exact but for what is said at `field_law`. A general library that sums random
waves was weighed: it took some forty times as long for the same grid.
"""

import math
from dataclasses import dataclass
from enum import Enum

import numpy as np
import scipy.fft

from terrain3d.errors import InputError
from terrain3d.site import DoubtSetting
from terrain3d.terrain import Ground, Terrain
from terrain3d.units import Floats

#: Greatest RMSE of heights of quality level 2 (lidar base specification and ASPRS 2014, as restated; the
#: project's check values, vertical accuracy), taken where nothing states the survey's own.
ASSUMED_RMSE_M = 0.10
#: The field closes upon itself beyond this many correlation lengths: errors there share 2 % of their size.
_LENGTHS_APART = 4.0
#: More nodes of the closed grid than this take too much memory and time a draw, unless the ground itself
#: asks for them.
_MOST_NODES = 16_000_000


class Source(Enum):
    """Where the error of a survey's heights is from: the site file, the survey, or assumed for a reason."""

    STATED = "stated"
    GROUND_STATED = "ground error stated"
    SURVEY_STATED = "survey states it"
    DRAWN_GROUND = "drawn ground"
    SILENT_SURVEY = "silent survey"


@dataclass(frozen=True)
class ErrorSizes:
    """Standard deviations that draws are made with.

    Parameters
    ----------
    ground_m : float
        RMSE of the survey's heights.
    correlation_m : float
        Distance over which they err alike: the correlation falls to 1 / e.
    height_m, bearing_deg, tilt_deg : float
        Of fixing a unit by hand; roll errs like tilt.
    source : Source
        Where `ground_m` comes from.
    """

    ground_m: float
    correlation_m: float
    height_m: float
    bearing_deg: float
    tilt_deg: float
    source: Source = Source.STATED


@dataclass(frozen=True, eq=False)
class FieldLaw:
    """What fields of one grid share: its shape, and the square roots of the spectrum of the closed grid."""

    shape: tuple[int, int]
    closed: tuple[int, int]
    root: Floats


def error_sizes_of(setting: DoubtSetting, terrain: Terrain) -> ErrorSizes:
    """The errors a site file asks for; the survey's is else what that states, or quality level 2.

    Examples
    --------
    >>> from terrain3d.frame import site_frame
    >>> from terrain3d.terrain import Foliage, Solids
    >>> ground = Ground(0.0, 0.0, 1.0, np.zeros((2, 2)))
    >>> flat = Terrain(site_frame(None, 0, 0), ground, Solids.none(), Foliage.none(), (), ())
    >>> error_sizes_of(DoubtSetting(), flat).source.value
    'drawn ground'
    """
    rmse, source = setting.ground, Source.STATED
    if rmse is None and terrain.error_m is not None:
        by_site = terrain.error_from.startswith("[ground]")
        rmse, source = terrain.error_m, Source.GROUND_STATED if by_site else Source.SURVEY_STATED
    if rmse is None:
        rmse = ASSUMED_RMSE_M
        source = Source.DRAWN_GROUND if terrain.spacing_m is None else Source.SILENT_SURVEY
    return ErrorSizes(rmse, setting.correlation, setting.height, setting.bearing, setting.tilt, source)


def field_law(ground: Ground, rmse_m: float, correlation_m: float) -> FieldLaw:
    """Prepare the error fields of a ground's grid.

    The grid is closed upon itself so far out that no two of its nodes are nearer the long way round.
    What closing makes of the covariance (eigenvalues below zero, together a ten thousandth of the
    variance) is left out and the rest scaled to the stated RMSE.

    Raises
    ------
    InputError
        Where the correlation length asks for a closed grid that outgrows memory.

    Examples
    --------
    >>> law = field_law(Ground(0.0, 0.0, 0.5, np.zeros((40, 60))), 0.1, 5.0)
    >>> law.closed
    (80, 120)
    """
    ny, nx = ground.z.shape
    apart = _LENGTHS_APART * correlation_m / ground.cell_m
    closed = (_closed_length(ny, apart), _closed_length(nx, apart))
    if closed[0] * closed[1] > max(_MOST_NODES, 5 * ny * nx):
        most = math.sqrt(_MOST_NODES) * ground.cell_m / (2.2 * _LENGTHS_APART)
        raise InputError(
            f"errors that are alike over {correlation_m:g} m are too long for cells of {ground.cell_m:g} m",
            "site.toml: doubt.correlation",
            f"give at most {most:.0f} m: longer ones move the site as a whole, which changes nothing",
        )
    away = np.hypot(_lags(closed[0])[:, None], _lags(closed[1])) * ground.cell_m
    spectrum = scipy.fft.rfft2(np.exp(-away / correlation_m)).real
    root = np.sqrt(np.maximum(spectrum, 0.0))
    law = FieldLaw((ny, nx), closed, root)
    return FieldLaw((ny, nx), closed, root * (rmse_m / math.sqrt(_variance(law))))


def draw_field(law: FieldLaw, rng: np.random.Generator) -> Floats:
    """(ny, nx) height errors in metres: one draw.

    Examples
    --------
    >>> law = field_law(Ground(0.0, 0.0, 0.5, np.zeros((40, 60))), 0.1, 5.0)
    >>> draw_field(law, np.random.default_rng(1)).shape
    (40, 60)
    """
    noise = scipy.fft.rfft2(rng.standard_normal(law.closed))
    noise *= law.root
    whole = scipy.fft.irfft2(noise, law.closed, overwrite_x=True)
    return np.ascontiguousarray(whole[: law.shape[0], : law.shape[1]])


def _closed_length(n: int, apart: float) -> int:
    return int(scipy.fft.next_fast_len(math.ceil(2 * max(n - 0.5, apart)), real=True))


def _lags(n: int) -> Floats:
    """Steps from the first node to each other one, the shorter way round."""
    steps = np.arange(n, dtype=float)
    return np.asarray(np.minimum(steps, n - steps))


def _variance(law: FieldLaw) -> float:
    """Variance of a node: the mean of the whole spectrum, of which a real transform keeps one half."""
    ny, nx = law.closed
    twice = np.full(law.root.shape[1], 2.0)
    twice[0] = 1.0
    if nx % 2 == 0:
        twice[-1] = 1.0
    return float((law.root**2 * twice).sum()) / (ny * nx)
