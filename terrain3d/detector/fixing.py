"""How far a housing turns where it is fixed: what it can be set to, and the nearest setting that it can."""

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from terrain3d.detector.types import DetectorType, Fixing
from terrain3d.errors import InputError

#: Settings are typed in decimals: this is within a limit, degrees.
_ROUNDING_DEG = 1e-9


def fixing_of(detector_type: DetectorType, bracket: bool = False) -> Fixing | None:
    """The limits of a housing flat on its wall, or on its bracket; None for none.

    >>> from terrain3d.detector.types import load_type
    >>> watched = load_type("one-head-90-watched")
    >>> fixing_of(watched).swivel, fixing_of(watched, bracket=True).swivel
    (10.0, 60.0)
    """
    flat = detector_type.mounting
    return flat.bracket if bracket and flat is not None else flat


def off_wall(bearing_deg: ArrayLike, wall_deg: float) -> NDArray[np.float64]:
    """Degrees that bearings lie right of what a wall faces, from -180 to 180.

    >>> off_wall([10.0, 350.0, 180.0], 350.0).tolist()
    [20.0, 0.0, -170.0]
    """
    return (np.asarray(bearing_deg, float) - wall_deg + 180) % 360 - 180


def can_turn(
    limits: Fixing | None, wall_deg: float | None, bearing_deg: ArrayLike, tilt_deg: ArrayLike
) -> NDArray[np.bool_]:
    """Whether a housing can be turned to bearings and tilts, in any shapes that go together.

    Parameters
    ----------
    limits : Fixing, or None
        As `fixing_of` has them; None holds nothing back.
    wall_deg : float, or None
        What the wall faces, degrees clockwise from true north. None is a pole, which is turned about at will.
    bearing_deg, tilt_deg : array_like
        Degrees; nose down positive.

    Examples
    --------
    >>> limits = Fixing(swivel=45, tilt=(-5, 10))
    >>> can_turn(limits, 350.0, [30.0, 36.0, 300.0], [0.0, 0.0, 12.0]).tolist()
    [True, False, False]
    >>> can_turn(limits, None, [30.0, 36.0, 300.0], [0.0, 0.0, 12.0]).tolist()
    [True, True, False]
    """
    bearing, tilt = np.broadcast_arrays(np.asarray(bearing_deg, float), np.asarray(tilt_deg, float))
    if limits is None:
        return np.ones(bearing.shape, bool)
    low, high = limits.tilt
    fits = (tilt >= low - _ROUNDING_DEG) & (tilt <= high + _ROUNDING_DEG)
    if wall_deg is not None:
        fits &= np.abs(off_wall(bearing, wall_deg)) <= limits.swivel + _ROUNDING_DEG
    return np.asarray(fits)


def nearest_turn(
    limits: Fixing | None, wall_deg: float | None, bearing_deg: float, tilt_deg: float
) -> tuple[float, float]:
    """The bearing and the tilt, nearest to some, that a housing can be turned to; arguments as of `can_turn`.

    >>> nearest_turn(Fixing(swivel=45, tilt=(-5, 10)), 350.0, 100.0, -9.0)
    (35.0, -5.0)
    """
    if limits is None or bool(can_turn(limits, wall_deg, bearing_deg, tilt_deg)):
        return bearing_deg, tilt_deg
    low, high = limits.tilt
    tilt = min(max(tilt_deg, low), high)
    if wall_deg is None or bool(can_turn(limits, wall_deg, bearing_deg, tilt)):
        return bearing_deg, tilt
    side = float(np.copysign(limits.swivel, off_wall(bearing_deg, wall_deg)))
    # To a ten thousandth: what is told is a setting that can be given.
    return round((wall_deg + side) % 360, 4) % 360, tilt


def check_turn(
    detector_type: DetectorType,
    bracket: bool,
    wall_deg: float | None,
    bearing_deg: float,
    tilt_deg: float,
    where: str = "",
) -> None:
    """Refuse a setting that a housing cannot be turned to where it is fixed.

    Raises
    ------
    InputError
        With the nearest setting that it can, or that it can on its bracket; or when it has no bracket.

    Examples
    --------
    >>> from terrain3d.detector.types import load_type
    >>> check_turn(load_type("one-head-90-watched"), False, 90.0, 130.0, 0.0, "D1")
    Traceback (most recent call last):
    terrain3d.errors.InputError: flat on a wall facing 90 degrees, one-head-90-watched cannot face 130 degrees
      where: D1: bearing
      to mend: nearest: 100 degrees; on its bracket it can
    """
    limits = fixing_of(detector_type, bracket)
    if bracket and limits is None:
        raise InputError(
            f"{detector_type.name} has no bracket", f"{where}: bracket".lstrip(": "), "leave bracket out"
        )
    if bool(can_turn(limits, wall_deg, bearing_deg, tilt_deg)):
        return
    bearing, tilt = nearest_turn(limits, wall_deg, bearing_deg, tilt_deg)
    is_bearing = bearing != bearing_deg
    how = "on its bracket" if bracket else "flat"
    if wall_deg is not None:
        how += f" on a wall facing {_degrees(wall_deg)}"
    wanted = f"face {_degrees(bearing_deg)}" if is_bearing else f"be tilted by {_degrees(tilt_deg)}"
    mend = f"nearest: {_degrees(bearing if is_bearing else tilt)}"
    if is_bearing and tilt != tilt_deg:
        mend += f", with a tilt of {_degrees(tilt)}"
    if not bracket and _can_on_bracket(detector_type, wall_deg, bearing_deg, tilt_deg):
        mend += "; on its bracket it can"
    key = "bearing" if is_bearing else "tilt"
    raise InputError(f"{how}, {detector_type.name} cannot {wanted}", f"{where}: {key}".lstrip(": "), mend)


def _can_on_bracket(detector_type: DetectorType, *setting: Any) -> bool:
    limits = fixing_of(detector_type, bracket=True)
    return limits is not None and bool(can_turn(limits, *setting))


def _degrees(angle: float) -> str:
    return f"{angle:.4f}".rstrip("0").rstrip(".") + " degrees"
