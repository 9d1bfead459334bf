"""The outline of places in a plane."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FLAT_MM = 1.0  # places nearer to one line than this have no outline


def outline(places: NDArray[np.float64]) -> list[int]:
    """Rows of the corners of the convex hull of places, in order; of places in one line its two ends.

    Parameters
    ----------
    places : ndarray, shape (n, 2)
    """
    from_middle = places - places.mean(axis=0)
    _, sizes, ways = np.linalg.svd(from_middle, full_matrices=False)
    if len(places) < 3 or sizes[1] < FLAT_MM:
        along = from_middle @ ways[0]
        return list(dict.fromkeys((int(along.argmin()), int(along.argmax()))))
    from scipy.spatial import ConvexHull

    return [int(k) for k in ConvexHull(places).vertices]
