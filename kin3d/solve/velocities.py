"""Velocities in the design position alone, from one dense solve: for an axle that is looked at and not moved.

No kernel is made, which would take ten times as long.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.layout import Linkage
from kin3d.solve.drives import axes_of, drive_names, value_of
from kin3d.solve.equations import Equations
from kin3d.solve.system import SINGULAR
from kin3d.solve.unknowns import choose_unknowns
from kin3d.spatial.vectors import vector

Array = NDArray[np.float64]
STEP = 1e-30  # of an imaginary part: small enough that its square is lost, so that the derivative is exact


def design_velocities(linkage: Linkage, design: Array) -> dict[str, Array] | None:
    """Velocity of every point as the wheel travels, rack held, in the design position.

    Parameters
    ----------
    linkage : Linkage
    design : ndarray, shape (points, 3)
        Design coordinates of ``linkage.points``, mm.

    Returns
    -------
    dict of point to ndarray, shape (3,), or None
        mm per mm of travel, vehicle frame. None where travel and rack do not determine the linkage there: too few
        equations or too many, or a dead centre.

    Raises
    ------
    LayoutError
        For a point that stands off its slider's line.
    """
    unknowns = choose_unknowns(linkage, design)
    equations = Equations(linkage, unknowns, design)
    at = dict(zip(linkage.points, design, strict=True))
    count = 3 * len(unknowns.points)
    if len(equations.rows) != count:
        return None
    moved = {p: at[p][:, None] + 1j * STEP * np.eye(count)[3 * k : 3 * k + 3] for k, p in enumerate(unknowns.points)}
    fixed = {p: vector(v) for p, v in at.items()}
    values = {name: value_of(linkage, name, 0.0) for name in drive_names(linkage)}
    axes = axes_of(linkage, fixed, (0.0, 1.0, 0.0))
    places = equations.places({p: vector(v) for p, v in moved.items()}, fixed, values, axes)
    rows = equations.residuals(places, fixed, values, axes)
    jacobian = np.array([np.broadcast_to(np.imag(row), count) for row in rows]) / STEP
    scaled = jacobian / equations.lengths(at)[:, None]
    sizes = np.linalg.svd(scaled, compute_uv=False)
    if sizes[-1] < SINGULAR * sizes[0]:
        return None
    lift = np.array([row.kind == "travel" for row in equations.rows], dtype=float)
    rates = np.linalg.solve(scaled, lift)  # the row of the travel is not scaled
    return {p: np.array([np.broadcast_to(np.imag(c), count) @ rates for c in v]) / STEP for p, v in places.items()}
