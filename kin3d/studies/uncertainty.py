"""Sources of uncertainty: where the points may be wrong, as independent errors of known size.

A *source* is one error of standard deviation 1 times its direction in design coordinates. A coordinate's own deviation
is a source; a shared error (all points of a view shifted together) is one source an axis. Sources are independent of
each other, so that variances add, and each measure's variance splits into what every source causes.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError
from kin3d.linkage.layout import WHEEL_AXIS
from kin3d.studies.corner_model import AXES, CornerModel

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Source:
    """One independent error.

    Attributes
    ----------
    name : str
        The point, or the name of the shared error.
    axis : str
        ``x``, ``y`` or ``z``, vehicle frame.
    sigma_mm : float
        Its standard deviation.
    shared : bool
        Whether it moves several points together.
    """

    name: str
    axis: str
    sigma_mm: float
    shared: bool = False

    def __str__(self) -> str:
        return f"{self.name} {self.axis}"


@dataclass(frozen=True, slots=True)
class Uncertainty:
    """All sources of one corner.

    Attributes
    ----------
    sources : tuple of Source
    seeds : ndarray, shape (sources, linkage points, 3)
        Change of design coordinates for one standard deviation of each source, mm.
    assumed_mm : float or None
        Deviation that was given by option for coordinates without one.
    exact : tuple of str
        Points without any deviation: they are taken as exact.
    """

    sources: tuple[Source, ...]
    seeds: Array
    assumed_mm: float | None
    exact: tuple[str, ...]

    @property
    def known(self) -> bool:
        """Whether there is any source at all."""
        return bool(self.sources)


def uncertainty_of(side: CornerModel, sigma_mm: float | None = None) -> Uncertainty:
    """Collect the sources of a corner.

    Parameters
    ----------
    side : CornerModel
    sigma_mm : float, optional
        Standard deviation of each coordinate to which the file gives none. A ``wheel_axis`` point is left alone: it
        stands for a direction, whose uncertainty is not that of a pickup point.

    Raises
    ------
    RequestError
        For a deviation that is negative or not finite.
    """
    if sigma_mm is not None and not 0.0 <= sigma_mm < float("inf"):
        text = f"sigma is {sigma_mm:g}; a standard deviation of 0 or more in mm is expected"
        raise RequestError(Finding("sigma-negative", text))
    pairs = [*_own(side, sigma_mm), *_shared(side)]
    moved = {p for s, seed in pairs for p in _moved(side, seed)}
    seeds = np.array([seed for _, seed in pairs]).reshape(-1, *side.design.shape)
    exact = tuple(p for p in side.names if p not in moved)
    return Uncertainty(tuple(s for s, _ in pairs), seeds, sigma_mm, exact)


def _own(side: CornerModel, sigma_mm: float | None) -> Iterator[tuple[Source, Array]]:
    for row, name in enumerate(side.names):
        for k, axis in enumerate(AXES):
            sigma = float(side.sigma_mm[row, k])
            if not sigma and sigma_mm is not None and name != WHEEL_AXIS:
                sigma = sigma_mm
            if sigma:
                yield Source(name, axis, sigma), sigma * side.seeds[row, k]


def _shared(side: CornerModel) -> Iterator[tuple[Source, Array]]:
    for error in side.model.axle.shared_errors:
        rows = [side.names.index(p) for p in error.points or side.names if p in side.names]
        for k, axis in enumerate(AXES):
            if error.sigma_mm[k]:
                seed = error.sigma_mm[k] * side.seeds[rows, k].sum(axis=0)
                yield Source(error.name, axis, error.sigma_mm[k], shared=True), seed


def _moved(side: CornerModel, seed: Array) -> list[str]:
    rows = np.flatnonzero(seed.any(axis=-1))
    return [side.model.linkage.points[r] for r in rows]
