"""What a measure is: one entry that says everything of it, beside the function that computes it.

Terminal, tables, plots, report, viewer, attribution and documentation ask the entry; a new measure is a new entry.
`kin3d.studies.registry` lists all of them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from math import pi
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.names import AxleName
from kin3d.spatial.jets import value

Array = NDArray[np.float64]
INFINITE = 1e12  # no figure of a car is so large
Scope = Literal["corner", "axle", "car", "element"]
_FROM_INSIDE = {"deg": 180.0 / pi, "deg/mm": 180.0 / pi}  # inside the program angles are in rad
LONG = ("car.wheelbase_mm", "car.cg_height_mm")  # what every longitudinal load transfer needs
RADIUS = ("axle.loaded_radius_mm",)


def nothing(_subject: Any) -> str:
    """Nothing stands in the way."""
    return ""


@dataclass(frozen=True, slots=True)
class Measure:
    """One measure.

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
        Subject to number, in mm, rad and N. The subject is what `scope` says.
    group : str
        Heading under which it is shown.
    scope : {"corner", "axle", "car", "element"}
        What it is a figure of, and what its function and `lacks` take: a `Corner`, a `CornerPair`, a car with both
        axles, an inboard element over the travel.
    order : int
        Order of derivative along travel that the function uses.
    needs : tuple of str
        Keys of the car file without which there is no figure: ``"car.wheelbase_mm"``, ``"axle.loaded_radius_mm"`` of
        the subject's axle, ``"front.unsprung_mass_kg"`` of a car's.
    uses : tuple of str
        Further keys that it reads, each with a default; ``"axle.stops"`` is a whole table. What places the linkage
        (points, rack axis, static camber and toe) is read by every measure and not named.
    unless : callable
        Subject to a sentence that says what stands in the way beside the keys (no rack, an axle that is not driven);
        empty when nothing does.
    usual : bool
        Whether it is shown when no measures are chosen.
    mirror : {1, -1}
        On a symmetric car the value on the right is `mirror` times that on the left where rack and roll have the other
        sign; +1 for a figure without sides.
    axle : {"front", "rear"} or None
        The axle that it is for; None: either.
    by_lanes : bool
        Whether its function works on arrays of solved lanes (statics), so that no tape can be made of it.
    named : bool
        Whether it is computed only where it is asked for by name: it takes longer than all the others.
    silent : bool
        Whether it is left out without a word where it is not there, unless it was asked for by name.
    """

    name: str
    label: str
    unit: str
    sign: str
    definition: str
    source: str
    function: Callable[[Any], Any]
    group: str
    scope: Scope = "corner"
    order: int = 0
    needs: tuple[str, ...] = ()
    uses: tuple[str, ...] = ()
    unless: Callable[[Any], str] = nothing
    usual: bool = False
    mirror: Literal[1, -1] = 1
    axle: AxleName | None = None
    silent: bool = False
    by_lanes: bool = False
    named: bool = False

    @property
    def reads(self) -> tuple[str, ...]:
        """Every key of the car file that it reads, as dotted keys."""
        return (*self.needs, *self.uses)

    def lacks(self, subject: Any) -> str:
        """A sentence that says what is missing for this measure; empty when nothing is."""
        return self.unless(subject) or not_given(subject, self.needs)

    def compute(self, subject: Any) -> Any:
        """Value over the subject's lanes, a jet or an array, in the measure's unit."""
        factor = _FROM_INSIDE.get(self.unit)
        found = self.function(subject)
        return found if factor is None else found * factor


def figure(subject: Any, key: str) -> Any:
    """What the car file gives for a dotted key; None where it gives nothing.

    Parameters
    ----------
    subject : object
        With ``car`` (`CarData`), and ``axle`` (`Axle`) or ``front`` and ``rear``, each with its ``axle``.
    """
    head, *rest = key.split(".")
    found = getattr(subject, head)
    if head in ("front", "rear") and found is not None:
        found = found.axle
    for name in rest:
        found = None if found is None else getattr(found, name)
    return found


def not_given(subject: Any, keys: Iterable[str]) -> str:
    """Sentence that names those of the keys which the car file does not give; empty when it gives all."""
    missing = [_place(subject, key) for key in keys if figure(subject, key) is None]
    return f"{' and '.join(missing)} {'is' if len(missing) == 1 else 'are'} not given" if missing else ""


def _place(subject: Any, key: str) -> str:
    """A dotted key as it stands in the car file: ``[front.spring] rate_n_per_mm``."""
    *tables, name = key.split(".")
    if tables[0] == "axle":
        tables[0] = subject.axle.name
    return f"[{'.'.join(tables)}] {name}"


def keys_of(measures: Iterable[Measure]) -> tuple[str, ...]:
    """Every key of the car file that some of the measures read, each once."""
    return tuple(dict.fromkeys(key for m in measures for key in m.reads))


def available(subject: Any, wanted: Sequence[Measure]) -> tuple[tuple[Measure, ...], dict[str, str]]:
    """Measures that the subject has the data for, and for each of the others the reason why it is left out."""
    reasons = {m.name: m.lacks(subject) for m in wanted}
    told = {m.name for m in wanted if not m.silent}
    return tuple(m for m in wanted if not reasons[m.name]), {n: r for n, r in reasons.items() if r and n in told}


def values(subject: Any, wanted: Iterable[Measure], shape: tuple[int, ...]) -> dict[str, Array]:
    """Values of measures of one scope over lanes, by name, in each measure's unit."""
    with np.errstate(all="ignore"):
        found = {m.name: np.array(np.broadcast_to(value(m.compute(subject)), shape), dtype=float) for m in wanted}
    for v in found.values():
        v[np.abs(v) > INFINITE] = np.inf  # what rounding has left of a place at infinity
    return found
