"""What is seen of a drawing by a person: numbered places, texts, views."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kin3d.reading.dxf.content import DrawnMark, Text
from kin3d.reading.dxf.declared import Axis

Axes = tuple[Axis, Axis]


@dataclass(frozen=True, slots=True)
class SheetPlace:
    """A numbered place with what it may be; `confidence` is sure, likely, guess, or empty."""

    number: int
    mark: DrawnMark
    label: str
    view: str = ""
    guess: str = ""
    confidence: str = ""
    reason: str = ""


@dataclass(frozen=True, slots=True)
class SheetWords:
    """A text with the point that it may mean."""

    text: Text
    guess: str
    confidence: str
    reason: str


@dataclass(frozen=True, slots=True)
class SketchedView:
    """A view as it was found: its box on the sheet (left, bottom, right, top), title, and axes where they are told."""

    name: str
    box: tuple[float, float, float, float]
    title: str = ""
    axes: Axes | None = None
    origin: tuple[float, float] | None = None


def gap(box: tuple[float, float, float, float], at: NDArray[np.float64]) -> float:
    """Return how far a place lies outside a box, drawing units; 0 inside."""
    x, y = float(at[0]), float(at[1])
    return float(np.hypot(max(box[0] - x, x - box[2], 0.0), max(box[1] - y, y - box[3], 0.0)))
