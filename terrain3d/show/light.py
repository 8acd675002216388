"""The daylight of a scene: where it comes from, and how bright it makes what it falls on."""

import numpy as np

from terrain3d.units import Floats

#: Where the two lights stand, and how strong they are: daylight from the north-west as on the plan.
LIGHTS = (((-0.5, 0.5, 0.85), 0.85), ((0.6, -0.7, 0.5), 0.35))
#: How much of its colour the ground shows without light, and in full light.
GROUND_AMBIENT, GROUND_DIFFUSE = 0.38, 0.72
#: The same of solid things, and of leaves and layers.
SOLID_LIGHT, LEAF_LIGHT = (0.5, 0.65), (0.6, 0.4)


def daylight(normals: Floats, ambient: float, diffuse: float) -> Floats:
    """(n,) how bright the lights make faces of (n, 3) normals, at most 1.

    >>> daylight(np.array([[0.0, 0.0, -1.0]]), 0.5, 0.65).tolist()
    [0.5]
    """
    share = np.full(len(normals), ambient)
    for place, strength in LIGHTS:
        towards = np.array(place) / np.linalg.norm(place)
        share += diffuse * strength * np.maximum(normals @ towards, 0.0)
    return np.asarray(np.minimum(share, 1.0))


def raised_to_paper(normals: Floats) -> float:
    """By how much the light on ground of (n, 3) normals is raised, for most of it to show its own colours.

    On a bank all ground would be dim: a verdict there would have another colour than in the key.

    >>> steep = np.array([[0.0, -0.5, 0.75**0.5]])
    >>> round(float(daylight(steep, GROUND_AMBIENT, GROUND_DIFFUSE)[0]) * raised_to_paper(steep), 6)
    1.0
    """
    return 1 / float(np.median(daylight(normals, GROUND_AMBIENT, GROUND_DIFFUSE)))
