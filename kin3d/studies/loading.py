"""Loading a car: read the file, make points of photographs, look whether it is likely to mean what it says."""

from __future__ import annotations

from os import PathLike
from pathlib import Path

from kin3d.linkage.car import Car
from kin3d.linkage.record import changed
from kin3d.reading.car import read_car
from kin3d.studies.plausibility import implausible


def load(path: str | PathLike[str]) -> Car:
    """Read a car file with the point files and layouts that it names.

    Parameters
    ----------
    path : path-like
        The car file (TOML); paths in it are relative to it.

    Returns
    -------
    Car
        Points in mm in the vehicle frame (ISO 8855); in ``findings`` what was assumed, and what is well written and
        probably a slip.

    Raises
    ------
    Kin3dError
        With everything that is wrong with the car file and the files that it names, at once.
    """
    car = read_car(Path(path))
    if any(axle.points.pending for axle in car.axles()):
        # imported where it is needed: adjusting takes libraries that would double the start of every other command
        from kin3d.studies.photo_points import adjusted

        car = adjusted(car)
    return changed(car, findings=(*car.findings, *implausible(car)))
