"""Zones covered where a setting would reach what it must not: which it takes, and what is still held so.

A zone is an equal part of a head's arc. What reaches in decides what has to be covered: of all masks that
keep a setting out, the one of just those zones leaves most open, so no other is tried. What is held with it
is the law's own answer: a stretch of the arc that is left open is a head of that arc, so a cell is held where
every layer that an alarm needs is broken with its axis in one and the same stretch.

Without roll, where in the arc a layer's axis passes over a cell depends on the bearing only through the
offset between the two, and grows steadily with it: the edges of the zones are so many offsets.
"""

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from terrain3d.units import Floats

#: Offsets nearer to an edge than this lie in both of its zones, as both stretches take them in, radians.
_EDGE = 1e-9
#: Bearings so far beyond the arc, in steps, are looked at as well: rounding may put a cell there.
_BESIDE = 1e-6


def zone_edges(
    half_arc_deg: float, n_zones: int, elevation_deg: Floats, tilt_deg: float, step_deg: float
) -> Floats:
    """Offsets of bearing at which the axis of each layer passes from zone to zone, in steps of bearing.

    Parameters
    ----------
    half_arc_deg, n_zones : float, int
        Of the head.
    elevation_deg : (l,) float
        Of each layer's axis in the head's frame.
    tilt_deg, step_deg : float

    Returns
    -------
    (l, n_zones + 1) float
        Of a cell's bearing right of the head's, ascending; the outer ones bound the arc.

    Examples
    --------
    >>> zone_edges(45.0, 2, np.array([0.0]), 0.0, 5.0).round(9).tolist()
    [[-9.0, 0.0, 9.0]]
    """
    azimuth = np.radians(np.linspace(-half_arc_deg, half_arc_deg, n_zones + 1))[None, :]
    elevation, tilt = np.radians(elevation_deg)[:, None], math.radians(tilt_deg)
    right = np.cos(elevation) * np.sin(azimuth)
    ahead = np.cos(elevation) * np.cos(azimuth) * math.cos(tilt) + np.sin(elevation) * math.sin(tilt)
    return np.asarray(np.arctan2(right, ahead) / math.radians(step_deg))


def zone_spans(
    offset: Floats, edges: Floats, step_deg: float, n_bearings: int
) -> tuple[NDArray[np.int64], NDArray[np.uint8], NDArray[np.uint8]]:
    """From which zone to which a cell needs the arc of a head open, at every bearing that has it in the arc.

    Parameters
    ----------
    offset : (n,) float
        Bearing of each cell right of the head's first one, in steps.
    edges : (l, z + 1) float
        From `zone_edges`, of the layers that have to be broken together.
    step_deg : float
    n_bearings : int
        Steps in a circle.

    Returns
    -------
    starts : (n,) int64
        Which bearing of the head is in the first column, counted in steps, of any turn of the circle.
    first, last : (n, w) uint8
        Zones counted from 0. Where `first` is beyond `last`, one of these two does: all axes pass over the
        edge between them.

    Examples
    --------
    A cell straight ahead of the first of four bearings, where two zones of 90 degrees meet; from the
    bearing to its left it lies in the right one.

    >>> edges = zone_edges(90.0, 2, np.array([0.0]), 0.0, 90.0)
    >>> starts, first, last = zone_spans(np.array([0.0]), edges, 90.0, 4)
    >>> starts.tolist(), first.tolist(), last.tolist()
    ([-1], [[1, 1, 0, 0]], [[1, 0, 0, 0]])
    """
    width = min(math.floor(float(edges.max() - edges.min()) + 2 * _BESIDE) + 2, n_bearings)
    starts = np.ceil(offset - edges[:, -1].max() - _BESIDE).astype(np.int64)
    first = np.empty((len(offset), width), np.uint8)
    last = np.empty_like(first)
    _fill_spans(offset, starts, edges, _EDGE / math.radians(step_deg), first, last)
    return starts, first, last


@njit(cache=True, nogil=True)
def _fill_spans(offset, starts, edges, room, first, last):
    n_inner = edges.shape[1] - 2
    for c in range(len(offset)):
        for k in range(len(edges)):
            # So many inner edges are passed; on one a layer lies in the zones on both sides of it.
            left, right = n_inner, n_inner
            for w in range(first.shape[1]):
                at = offset[c] - (starts[c] + w)
                while left > 0 and edges[k, left] >= at - room:
                    left -= 1
                while right > 0 and edges[k, right] > at + room:
                    right -= 1
                first[c, w] = right if k == 0 else min(first[c, w], right)
                last[c, w] = left if k == 0 else max(last[c, w], left)


@njit(cache=True, nogil=True)
def zones_reached(held, setting, shift, starts, first, last, reached):
    """Add to `reached`, (b,) uint64 bits of zones, those in which a unit with each bearing holds any cell.

    Parameters
    ----------
    held : (n, at least b) uint8
        Bit `setting` of [c, k]: a unit with bearing k holds cell c by this head, with nothing masked.
    shift : int
        Steps from a unit's bearing to the head's.
    starts, first, last
        From `zone_spans`.
    """
    n_bearings = len(reached)
    for c in range(len(held)):
        for b in range(n_bearings):
            if (held[c, b] >> setting) & 1:
                w = (b + shift - starts[c]) % n_bearings
                # On an edge both zones let it in.
                low, high = min(first[c, w], last[c, w]), max(first[c, w], last[c, w])
                for zone in range(low, high + 1):
                    reached[b] |= np.uint64(1) << np.uint64(zone)


@njit(cache=True, nogil=True)
def _is_open(masked, first, last):
    if first > last:
        return ((masked >> np.uint64(first)) & (masked >> np.uint64(last)) & np.uint64(1)) == 0
    zones = ((np.uint64(2) << np.uint64(last - first)) - np.uint64(1)) << np.uint64(first)
    return (masked & zones) == 0


@njit(cache=True, nogil=True)
def keep_unmasked(sure, held, shifts, starts, first, last, masked, otherwise):
    """Take from `sure`, (n, at least b) uint8, the cells that are not held with zones masked.

    Parameters
    ----------
    sure : (n, at least b) uint8
        Bit r of [c, k]: with setting r a unit with bearing k holds cell c however it is aimed.
    held : (a, s, n, at least b) uint8
        The same of each aim of tilt and each head, as aimed.
    shifts : (s,) int
        Steps from a unit's bearing to that of each head.
    starts, first, last : (a, s, r, n), (a, s, r, n, w)
        From `zone_spans`, of each setting.
    masked : (r, b, s) uint64
        Bits of the zones of each head that are masked at each setting.
    otherwise : (a, n, at least b) uint8, or (0, 0, 0)
        The same as `held` of what no mask touches.
    """
    n_settings, n_bearings, n_heads = masked.shape
    for c in range(len(sure)):
        for b in range(n_bearings):
            if not sure[c, b]:
                continue
            for r in range(n_settings):
                if not (sure[c, b] >> r) & 1 or not masked[r, b].any():
                    continue
                stays = True
                for aim in range(3 * len(held)):
                    tilt, turned = aim // 3, (b + aim % 3 - 1) % n_bearings
                    found = len(otherwise) > 0 and (otherwise[tilt, c, turned] >> r) & 1 > 0
                    for s in range(n_heads):
                        if not found and (held[tilt, s, c, turned] >> r) & 1:
                            w = (turned + shifts[s] - starts[tilt, s, r, c]) % n_bearings
                            found = _is_open(masked[r, b, s], first[tilt, s, r, c, w], last[tilt, s, r, c, w])
                    if not found:
                        stays = False
                        break
                if not stays:
                    sure[c, b] = sure[c, b] & np.uint8(255 - (1 << r))
