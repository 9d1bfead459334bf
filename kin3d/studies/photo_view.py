"""What is drawn onto a photograph, worked out: lines with their bands, places and figures of a car, in the picture."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kin3d.reading.photo_records import Photo
from kin3d.studies.uncertainty import half_width
from kin3d.writing.numbers import fixed

Array = NDArray[np.float64]
Hidden = NDArray[np.bool_]
LEVEL = 0.95


@dataclass(frozen=True, slots=True)
class Figure95:
    """A figure of one car.

    Attributes
    ----------
    label, unit : str
    value : float
    along : ndarray, shape (errors,)
        Its change along every error.
    """

    label: str
    unit: str
    value: float
    along: Array

    @property
    def width(self) -> float:
        """Half the 95 % interval."""
        return half_width(LEVEL) * float(np.linalg.norm(self.along))

    def __str__(self) -> str:
        return f"{self.label} {fixed(self.value, 0)} ± {max(self.width, 1.0):.0f} {self.unit}"


@dataclass(frozen=True, slots=True)
class Band:
    """A line in the picture with its band.

    Attributes
    ----------
    name : str
        ``"upper arm"``, ``"contact line"``, ``"side line"``.
    side : {"left", "right"}
    places : ndarray, shape (STATIONS, 2)
        px.
    across : ndarray, shape (STATIONS, 2)
        Unit vectors across the line.
    half : ndarray, shape (STATIONS,)
        Half the 95 % band, px.
    hidden : ndarray of bool, shape (STATIONS,)
        Whether a wheel stands before the place.
    """

    name: str
    side: str
    places: Array
    across: Array
    half: Array
    hidden: Hidden


@dataclass(frozen=True, slots=True)
class OnPhoto:
    """One car's construction in the picture.

    Attributes
    ----------
    title : str
    bands : tuple of Band
    roll_centre : ndarray, shape (2,)
        px.
    roll_centre_cov : ndarray, shape (2, 2)
        px².
    centres, contacts : ndarray, shape (2, 2)
        Instant centres and contact points of the front view, left and right, px.
    figures : tuple of Figure95
        Roll-centre height first; anti-dive where the car's figures allow it.
    legs : ndarray, shape (2, tubes, n, 2)
        Links, and the rod where it was located, as the car stands in the picture, px.
    legs_hidden : ndarray of bool, shape (2, tubes, n)
        Whether a wheel stands before the place, or the link is not marked there: the tub may hide it.
    rims : ndarray, shape (wheels, n, 2)
    rims_hidden : ndarray of bool, shape (wheels, n)
    tyres : ndarray, shape (wheels, n, 2)
    """

    title: str
    bands: tuple[Band, ...]
    roll_centre: Array
    roll_centre_cov: Array
    centres: Array
    contacts: Array
    figures: tuple[Figure95, ...]
    legs: Array
    legs_hidden: Hidden
    rims: Array
    rims_hidden: Hidden
    tyres: Array


@dataclass(frozen=True, slots=True)
class PhotoView:
    """One picture: the car's construction, another's as a ghost, the finding in words, what is shown."""

    photo: Photo
    own: OnPhoto
    ghost: OnPhoto | None
    finding: str
    crop: bool
    plain: bool
