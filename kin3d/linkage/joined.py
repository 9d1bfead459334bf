"""Refuses axles whose sides are one system, by name, for what is known of independent wheels only."""

from __future__ import annotations

from collections.abc import Iterable

from kin3d.errors import Finding, RequestError, raise_errors
from kin3d.linkage.car import Axle


def independent_only(what: str, axles: Iterable[Axle], instead: str) -> None:
    """Raise RequestError for every axle whose layout has something that stands once in the car.

    Parameters
    ----------
    what : str
        What is asked for: ``"settle with compliance"``.
    instead : str
        What can be asked for: ``"leave --compliance out"``.
    """
    found = []
    for axle in axles:
        if axle.linkage.system is not None:
            text = f'{what} cannot do layout "{axle.layout.name}", whose sides are one system ([across]); {instead}'
            found.append(Finding("axle-joined", text, f"{axle.points.source}, [{axle.name}]"))
    raise_errors(found, RequestError)
