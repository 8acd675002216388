"""Ground and leaves with fewer faces, drawn while the view or a setting moves; verdicts stay as they are."""

from typing import Any

import numpy as np
import pyvista as pv
from vtkmodules.vtkFiltersCore import vtkQuadricClustering
from vtkmodules.vtkFiltersHybrid import vtkGreedyTerrainDecimation

#: How far the coarse ground may lie off the measured one, metres: two or three pixels of a whole site's view.
OFF_M = 0.08
#: Leaves of a cube with sides so long are drawn by one corner, metres: a survey tells them no finer.
_LEAF_CUBE_M = 0.4


def coarse_surface(surface: Any, off_m: float = OFF_M) -> Any:
    """A surface over a grid with as few triangles as keep near it.

    Parameters
    ----------
    surface : pyvista.PolyData
        Its points row by row from the south, as `parts.ground_parts` makes them.
    off_m : float
        How far it may lie above or below the points, metres; one in a thousand may lie a little farther.

    Returns
    -------
    pyvista.PolyData
        Some of the points, with all that is kept of them; so a picture laid on the surface lies where it lay.

    Examples
    --------
    >>> x, y = (v.ravel() for v in np.meshgrid(np.arange(9.0), np.arange(5.0)))
    >>> slope = pv.PolyData(np.column_stack([x, y, 0.1 * x]))
    >>> coarse_surface(slope).n_cells < slope.n_points
    True
    """
    points = surface.points
    columns = int((points[:, 1] == points[0, 1]).sum())
    heights = pv.ImageData(dimensions=(columns, len(points) // columns, 1))
    heights.point_data["height"] = points[:, 2]
    heights.set_active_scalars("height")
    thinning = vtkGreedyTerrainDecimation()
    thinning.SetInputData(heights)
    thinning.SetErrorMeasureToAbsoluteError()
    thinning.SetAbsoluteError(off_m)
    thinning.BoundaryVertexDeletionOff()
    thinning.Update()
    found = pv.wrap(thinning.GetOutput())
    column, row = np.rint(found.points[:, :2]).astype(int).T
    kept = row * columns + column
    coarse = pv.PolyData.from_regular_faces(points[kept], found.regular_faces)
    for name in surface.point_data.keys():  # noqa: SIM118 (VTK's own mapping)
        coarse.point_data[name] = surface.point_data[name][kept]
    if surface.point_data.active_normals is not None:
        coarse.point_data.active_normals = surface.point_data.active_normals[kept]
    coordinates = surface.active_texture_coordinates
    if coordinates is not None:
        coarse.active_texture_coordinates = np.asarray(coordinates)[kept]
    return coarse


def coarse_leaves(shell: Any, cube_m: float = _LEAF_CUBE_M) -> Any:
    """The shell of hedges and crowns with few triangles: its corners within a cube come together in one.

    Parameters
    ----------
    shell : pyvista.PolyData
    cube_m : float
        Side of the cubes, metres: no corner comes to lie farther off than a cube is across.

    Returns
    -------
    pyvista.PolyData
        What is thinner than a cube may be left without a thickness, and what fits into one is left out; the
        shell itself where nothing else is in it.

    Examples
    --------
    >>> crown = pv.Sphere(radius=2.0, theta_resolution=90, phi_resolution=90)
    >>> few = coarse_leaves(crown)
    >>> few.n_cells < crown.n_cells / 10, abs(few.volume / crown.volume - 1) < 0.05
    (True, True)
    """
    west, east, south, north, low, high = shell.bounds
    joining = vtkQuadricClustering()
    joining.SetInputData(shell.triangulate())
    joining.AutoAdjustNumberOfDivisionsOff()
    sides = (east - west, north - south, high - low)
    joining.SetNumberOfDivisions(*(max(int(np.ceil(side / cube_m)), 1) for side in sides))
    joining.Update()
    few = pv.wrap(joining.GetOutput())
    return few if few.n_cells else shell
