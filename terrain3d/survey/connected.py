"""Points that hang together: things that stand apart get numbers of their own."""

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from terrain3d.units import Floats


def connected(points: Floats, side_m: float) -> tuple[int, NDArray[np.int64]]:
    """How many things points make, and the number of each point's.

    Parameters
    ----------
    points : (n, k) float
        In plan or in space, metres.
    side_m : float
        Points in cubes of this side that touch, at a corner at least, hang together.

    Examples
    --------
    >>> connected(np.array([[0.0, 0.0], [0.6, 0.4], [5.0, 0.0]]), 0.5)
    (2, array([0, 0, 1]))
    """
    cubes, which = np.unique(np.floor(points / side_m).astype(np.int64), axis=0, return_inverse=True)
    pairs = cKDTree(cubes).query_pairs(1.75, output_type="ndarray")
    links = coo_array((np.ones(len(pairs)), pairs.T), shape=(len(cubes),) * 2)
    n, thing = connected_components(links, directed=False)
    return int(n), thing[which.ravel()].astype(np.int64)
