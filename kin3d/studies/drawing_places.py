"""What is seen of a drawing by a person: numbered places, texts, views."""

from __future__ import annotations

from dataclasses import dataclass

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
