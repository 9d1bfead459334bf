"""kin3d: 3D kinematics of suspension linkages from pickup points.

Start with `load` and `sweep`:

>>> import kin3d
>>> car = kin3d.load("models/dunlin/car.toml")              # doctest: +SKIP
>>> curves = kin3d.sweep(car, "front", travel=range(-40, 41, 5))  # doctest: +SKIP
>>> curves.dataset().camber_deg.sel(side="left", rack_mm=0)            # doctest: +SKIP
"""

from __future__ import annotations

from collections.abc import Sequence
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING

from kin3d.errors import Finding, Kin3dError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from kin3d.linkage.car import Car
    from kin3d.linkage.names import AxleName
    from kin3d.studies.result import SweepResult

__all__ = ["Finding", "Kin3dError", "__version__", "load", "sweep"]
__version__ = "0.1.0"


def load(path: str | PathLike[str]) -> Car:
    """Read a car file.

    Parameters
    ----------
    path : path-like
        The car file (TOML); paths in it are relative to it.

    Raises
    ------
    Kin3dError
        With every finding of the car file and of the tables it names, at once.
    """
    from kin3d.reading.car import read_car

    return read_car(Path(path))


def sweep(
    car: Car,
    axle: AxleName = "front",
    travel: Sequence[float] | NDArray[np.float64] | float = 0.0,
    rack: Sequence[float] | NDArray[np.float64] | float = 0.0,
    measures: Sequence[str] | None = None,
) -> SweepResult:
    """Sweep a corner over wheel travel and rack displacement.

    Parameters
    ----------
    car : Car
        As `load` returns it.
    axle : {"front", "rear"}
    travel : float or array-like, mm
        Height of the wheel centre over its design height in the chassis frame; bump positive.
    rack : float or array-like, mm
        Displacement of the rack; to the left positive.
    measures : sequence of str, optional
        Names of the measures wanted; default all that there is data for.

    Returns
    -------
    SweepResult
        Its `dataset` has dimensions travel_mm, rack_mm and side; a variable a measure, and ``status`` (0 = solved).
        Positions that cannot be reached are NaN there; ``attrs["notes"]`` says why, and which measures lack data.

    Raises
    ------
    Kin3dError
        For points that do not make a determined linkage, an unknown axle or measure.
    """
    from kin3d.studies.sweep import sweep as run

    return run(car, axle, travel, rack, measures=measures)
