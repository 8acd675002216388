"""One mount and height: cells, pieces, and that two threads give what one gives."""

import numpy as np
import pytest
from shapes import box, ground, leaves, plane, terrain

from terrain3d.sight.panorama import LEAF_SLAB_M, SAME_SHARE, eye_over, panorama
from terrain3d.sight.slices import N_BINS, azimuth_bin
from terrain3d.terrain import Ground


def bumpy() -> Ground:
    return ground(lambda x, y: 0.2 * np.sin(x) * np.cos(0.7 * y) + 0.05 * y)


def test_cells_are_all_known_cells_in_reach_each_once():
    """Cells beyond reach or without known ground are left out; no cell is there twice."""
    on = bumpy()
    on.z[:30, :30] = np.nan
    seen = panorama(terrain(on), eye_over(on, 0.3, 0.2, 1.0), 9.0)
    x, y = np.meshgrid(on.xs, on.ys)
    expected = np.flatnonzero((np.hypot(x - 0.3, y - 0.2) <= 9.0) & on.known)
    assert np.array_equal(np.sort(seen.cells), expected)


def test_cells_are_sorted_into_their_bins():
    """Every cell lies in the bin of its own bearing."""
    seen = panorama(terrain(bumpy()), (0.1, 0.2, 1.4), 9.0)
    assert seen.bin_start[0] == 0
    assert seen.bin_start[N_BINS] == len(seen.cells)
    for b in range(0, N_BINS, 7):
        for k in range(seen.bin_start[b], seen.bin_start[b + 1]):
            dx, dy = seen.east[k], seen.north[k]
            assert azimuth_bin(dx, dy) in (b - 1, b, b + 1)


def test_pieces_are_in_order_and_above_the_lowest_visible_height():
    """Pieces of a cell follow each other upwards, and start no lower than the ground allows."""
    on = bumpy()
    site = terrain(on, box((2, 2, -1), (4, 2.5, 1)), leaves(on, lambda x, y: x < -2, 0.0, 1.2, 2.0))
    seen = panorama(site, eye_over(on, 0.0, 0.0, 1.0), 9.0)
    for k in range(len(seen.cells)):
        pieces = seen.pieces[seen.piece_start[k] : seen.piece_start[k + 1]]
        assert np.all(pieces[:, 0] < pieces[:, 1])
        assert np.all(pieces[1:, 0] >= pieces[:-1, 1] - 1e-9)
        if len(pieces):
            assert pieces[0, 0] >= seen.lowest[k] - 1e-9
            assert np.all((pieces[:, 2] > 0) & (pieces[:, 2] <= 1))


def test_main_and_many_are_the_pieces_told_twice():
    """The fast copies hold the first piece of each cell and name the cells with more."""
    on = bumpy()
    site = terrain(on, box((2, 2, 0.5), (4, 2.5, 1)), leaves(on, lambda x, y: x < -2, 0.0, 1.2, 2.0))
    seen = panorama(site, eye_over(on, 0.0, 0.0, 1.0), 9.0)
    counts = np.diff(seen.piece_start)
    assert np.array_equal(seen.many, np.flatnonzero(counts > 1))
    some = counts > 0
    assert np.array_equal(seen.main[:, some].T, seen.pieces[seen.piece_start[:-1][some]])
    assert not seen.main[:, ~some].any()


def test_the_same_question_gets_the_same_bytes():
    """Threads change nothing in what comes back."""
    on = bumpy()
    site = terrain(on, box((2, 2, 0.5), (4, 2.5, 1)), leaves(on, lambda x, y: x < -2, 0.0, 1.2, 2.0))
    first, second = (panorama(site, (0.0, 0.0, 1.0), 9.0) for _ in range(2))
    assert first.pieces.tobytes() == second.pieces.tobytes()
    assert first.cells.tobytes() == second.cells.tobytes()


def test_foliage_darkens_only_what_lies_behind_it():
    """Behind a hedge of 1 m of leaves at 2 m2/m3 the share is exp(-1); before it, and over it, one."""
    on = plane(0.0, cell_m=0.25, extent_m=25.25)
    hedge = leaves(on, lambda x, y: (y > 3.125) & (y < 4.125), 0.0, 1.0, 2.0)
    seen = panorama(terrain(on, foliage=hedge), (0.0, 0.0, 0.5), 12.0)
    due_north = np.flatnonzero((np.abs(seen.east) < 1e-9) & (seen.north > 0))
    for k in due_north:
        pieces = seen.pieces[seen.piece_start[k] : seen.piece_start[k + 1]]
        at_eye = pieces[(pieces[:, 0] < 0.01) & (pieces[:, 1] > -0.01)][0]
        expected = np.exp(-1.0) if seen.distance[k] > 4.2 else 1.0
        if seen.distance[k] < 3.1 or seen.distance[k] > 4.2:
            # The slab that holds eye height slants a little through the hedge.
            assert at_eye[2] == pytest.approx(expected, abs=SAME_SHARE)
    assert LEAF_SLAB_M <= 0.1


def test_unknown_ground_under_the_mount_gives_no_eye():
    """The height over unknown ground is not a number."""
    on = bumpy()
    on.z[:] = np.nan
    assert np.isnan(eye_over(on, 0.0, 0.0, 1.0)[2])
