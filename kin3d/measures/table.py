"""What a measure is: its name, unit, sign, definition and source beside the function that computes it.

The command line, the result tables, the documentation and every study read these entries; a new measure is a new entry.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import pi
from typing import Any

from kin3d.measures.corner import Corner

_FROM_INSIDE = {"deg": 180.0 / pi, "deg/mm": 180.0 / pi}  # inside the program angles are in rad


@dataclass(frozen=True, slots=True)
class Measure:
    """One measure of a corner.

    Attributes
    ----------
    name : str
        As in tables and files; the unit stands in it.
    label : str
        For a person: the long name on plots and in tables.
    unit : str
        Unit of the value at interfaces.
    sign : str
        What a positive value means.
    definition : str
        Formula or sentence; printed wherever the figure might be misread.
    source : str
        Where the definition stands.
    function : callable
        Corner to number, in mm, rad and N.
    lacks : callable
        Corner to a sentence that says what is missing for this measure; empty when nothing is.
    order : int
        Order of derivative along travel that the function uses.
    group : str
        Heading under which it is shown.
    """

    name: str
    label: str
    unit: str
    sign: str
    definition: str
    source: str
    function: Callable[[Corner], Any]
    lacks: Callable[[Corner], str]
    order: int
    group: str

    def compute(self, corner: Corner) -> Any:
        """Value over the corner's lanes, a jet, in the measure's unit."""
        factor = _FROM_INSIDE.get(self.unit)
        value = self.function(corner)
        return value if factor is None else value * factor


def nothing(_corner: Corner) -> str:
    """Nothing is missing."""
    return ""


def lacks_radius(corner: Corner) -> str:
    """Says so when the loaded radius is not given."""
    return "" if corner.axle.loaded_radius_mm is not None else f"[{corner.axle.name}] loaded_radius_mm is not given"
