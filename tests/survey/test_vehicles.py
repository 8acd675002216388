"""Things of the size of a vehicle: on made scenes with known answers."""

import numpy as np

from terrain3d.survey.vehicles import vehicles


def scene(boxes, density=10, seed=0):
    """Level ground 24 m wide with boxes (west, south, east, north, height) on it, 3 cm noise."""
    rng = np.random.default_rng(seed)
    xy = rng.uniform(-12, 12, (density * 24 * 24, 2))
    z = np.zeros(len(xy))
    for west, south, east, north, high in boxes:
        inside = (xy[:, 0] > west) & (xy[:, 0] < east) & (xy[:, 1] > south) & (xy[:, 1] < north)
        z[inside] = high(xy[inside, 0]) if callable(high) else high
    return np.column_stack([xy, z + rng.normal(0, 0.03, len(z))])


def test_a_van_and_a_car_side_by_side_are_two():
    """0.7 m between them, as wide as a door opens."""
    xyz = scene([(-2.0, -2.6, 0.0, 2.6, 2.1), (0.7, -2.1, 2.5, 2.2, 1.5)])
    found = sorted(vehicles(xyz, xyz[:, 2], xyz[:, 2] > 0.3), key=lambda one: one.height_m)
    np.testing.assert_allclose([one.height_m for one in found], [1.5, 2.1], atol=0.1)
    np.testing.assert_allclose([one.outline.mean(axis=0) for one in found], [[1.6, 0], [-1, 0]], atol=0.25)


def test_the_low_part_of_a_roof_is_no_vehicle():
    """A roof of 5 x 5.4 m over a slope, 2.2 m over the ground on one side and 3.5 m on the other."""
    xyz = scene([(-2.5, -2.7, 2.5, 2.7, lambda x: 2.2 + 0.26 * (x + 2.5))])
    assert not vehicles(xyz, xyz[:, 2], xyz[:, 2] > 0.3)
