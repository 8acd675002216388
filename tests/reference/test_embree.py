"""Hits and visible heights against embree (Intel), cast through trimesh on the same surfaces."""

import numpy as np
import pytest
import trimesh
from shapes import box, ground, terrain, unit  # noqa: F401

from terrain3d.sight.hits import Hit, first_hits
from terrain3d.sight.panorama import panorama

REFINE = 12


def hills(x, y):
    """Ground with crests, hollows and a bank, metres."""
    return 0.1 * y + 0.35 * np.sin(x / 2.1) * np.cos(y / 2.7) + 0.8 / (1 + np.exp(-(x - 3) / 0.4))


def surface_mesh(on) -> trimesh.Trimesh:
    """The bilinear ground as triangles, each patch cut REFINE times a side."""
    ny, nx = on.z.shape
    x = np.linspace(on.xs[0], on.xs[-1], (nx - 1) * REFINE + 1)
    y = np.linspace(on.ys[0], on.ys[-1], (ny - 1) * REFINE + 1)
    gx, gy = np.meshgrid(x, y)
    vertices = np.column_stack([gx.ravel(), gy.ravel(), on.height_at(gx, gy).ravel()])
    index = np.arange(len(vertices)).reshape(gx.shape)
    a, b, c, d = index[:-1, :-1], index[:-1, 1:], index[1:, :-1], index[1:, 1:]
    faces = np.concatenate([np.stack([a, b, d], -1).reshape(-1, 3), np.stack([a, d, c], -1).reshape(-1, 3)])
    return trimesh.Trimesh(vertices, faces, process=False)


def embree_distances(mesh, eye, rays):
    """Distance to the first hit of unit rays; inf for none. The mesh is moved, not the eye: 32 bits."""
    moved = trimesh.Trimesh(mesh.vertices - np.asarray(eye), mesh.faces, process=False)
    distance = np.full(len(rays), np.inf)
    _, index, points = moved.ray.intersects_id(
        np.zeros_like(rays), rays, multiple_hits=False, return_locations=True
    )
    distance[index] = np.linalg.norm(points, axis=1)
    return distance


def unit_rays(rng, n):
    """Directions a detector looks into: all bearings, 15 degrees down to 6 up."""
    bearing, elevation = rng.uniform(0, 2 * np.pi, n), np.radians(rng.uniform(-15, 6, n))
    return np.column_stack(
        [np.cos(elevation) * np.sin(bearing), np.cos(elevation) * np.cos(bearing), np.sin(elevation)]
    )


@pytest.mark.parametrize("eye_xy", [(0.1, -0.2), (4.0, 3.0), (-5.3, 2.2)])
def test_first_hits_on_ground_agree_with_embree(eye_xy):
    """4000 rays over bilinear hills: all but grazing ones meet the ground within 1 cm of embree's hit.

    The triangles cut the bilinear patch by under a millimetre, which a grazing ray stretches.
    """
    on = ground(hills, cell_m=0.5, extent_m=26)
    eye = (*eye_xy, float(on.height_at(*eye_xy)) + 1.0)
    rays = unit_rays(np.random.default_rng(7), 4000)
    mine = first_hits(terrain(on), eye, rays, 12.0)
    theirs = embree_distances(surface_mesh(on), eye, rays)
    theirs[theirs > 12.0] = np.inf
    both = np.isfinite(mine.distance) & np.isfinite(theirs)
    assert np.mean(np.isfinite(mine.distance) == np.isfinite(theirs)) > 0.998
    assert np.percentile(np.abs(mine.distance[both] - theirs[both]), 99) < 0.01
    assert both.sum() > 800
    assert np.all(mine.what[both] == Hit.GROUND)


def test_visible_heights_agree_with_embree_rays():
    """Heights over cells, cut by hills and turned boxes: a ray to each agrees with the pieces.

    The strongest statement that holds: outside 5 mm of an edge of a piece, seen by arithmetic means
    seen by embree, and hidden means hidden, for every one of 60,000 heights.
    """
    on = ground(hills, cell_m=0.5, extent_m=26)
    walls = box((1, 3, -1), (6, 3.3, 1.6), 20).joined(box((-7, -6, 1.2), (-3, -3, 1.9), 35))
    walls = walls.joined(box((-4, 4, -1), (-3, 5, 3), 10))
    eye = (0.1, -0.2, float(on.height_at(0.1, -0.2)) + 1.0)
    seen = panorama(terrain(on, walls), eye, 12.0)
    together = trimesh.util.concatenate(
        [surface_mesh(on), trimesh.Trimesh(walls.vertices, walls.triangles, process=False)]
    )
    rng = np.random.default_rng(3)
    cells = rng.integers(0, len(seen.cells), 60_000)
    cells = cells[seen.distance[cells] > 0.5]
    height = seen.foot[cells] + rng.uniform(0.0, 2.5, len(cells))
    is_seen, is_clear = np.zeros(len(cells), bool), np.ones(len(cells), bool)
    for k in np.unique(cells):
        rows = cells == k
        pieces = seen.pieces[seen.piece_start[k] : seen.piece_start[k + 1]]
        z = height[rows][:, None]
        is_seen[rows] = ((z > pieces[:, 0]) & (z < pieces[:, 1])).any(axis=1)
        edges = np.append(pieces[:, :2].ravel(), [seen.foot[k]])
        is_clear[rows] = (np.abs(z - edges) > 0.005).all(axis=1)
    targets = np.column_stack(
        [seen.east[cells] * seen.distance[cells], seen.north[cells] * seen.distance[cells], height]
    )
    length = np.linalg.norm(targets, axis=1)
    hit = embree_distances(together, eye, targets / length[:, None])
    by_embree = hit >= length - 2e-3
    # A cell within a box is hidden by its near wall both ways; nothing else is left out.
    assert is_clear.mean() > 0.95
    wrong = is_clear & (is_seen != by_embree)
    assert wrong.sum() <= 3, f"{wrong.sum()} of {is_clear.sum()}"
    assert 0.2 < is_seen.mean() < 0.95
