"""kin3d: 3D kinematics of suspension linkages from pickup points.

One function a command, by the same word; each returns a result with `tables`, `records`, `notes`, `plot`, `save` and,
where it is an array, `dataset`. What a function needs is imported when it is first used.

>>> import kin3d
>>> car = kin3d.load("models/dunlin/car.toml")                      # doctest: +SKIP
>>> curves = kin3d.sweep(car, "front", travel=range(-40, 41, 5))    # doctest: +SKIP
>>> curves.dataset().camber_deg.sel(side="left", rack_mm=0)         # doctest: +SKIP
>>> curves.save("curves.csv")                                       # doctest: +SKIP
"""

from __future__ import annotations

import sys
from types import ModuleType
from typing import TYPE_CHECKING, Any

from kin3d.errors import Finding, Kin3dError
from kin3d.version import __version__

if TYPE_CHECKING:
    from kin3d.face import mark, report, view
    from kin3d.studies.bores import import_bores
    from kin3d.studies.check import check
    from kin3d.studies.clearance import clearance
    from kin3d.studies.compare import compare
    from kin3d.studies.compliance import compliance
    from kin3d.studies.draw import draw
    from kin3d.studies.drawing_import import import_drawing
    from kin3d.studies.export import export
    from kin3d.studies.forces import forces
    from kin3d.studies.layout_list import list_layouts as layouts
    from kin3d.studies.loading import load
    from kin3d.studies.locate import locate
    from kin3d.studies.measure_list import list_measures as measures
    from kin3d.studies.rates_result import rates
    from kin3d.studies.sensitivity import sensitivity
    from kin3d.studies.settle import settle
    from kin3d.studies.swap import swap
    from kin3d.studies.sweep import sweep
    from kin3d.studies.tolerance import tolerance
    from kin3d.studies.tune import tune

__all__ = [
    "Finding",
    "Kin3dError",
    "__version__",
    "check",
    "clearance",
    "compare",
    "compliance",
    "draw",
    "export",
    "forces",
    "import_bores",
    "import_drawing",
    "layouts",
    "load",
    "locate",
    "mark",
    "measures",
    "rates",
    "report",
    "sensitivity",
    "settle",
    "swap",
    "sweep",
    "tolerance",
    "tune",
    "view",
]

# where each function is defined, and its name there if that is another
_FUNCTIONS = {
    "check": "kin3d.studies.check",
    "clearance": "kin3d.studies.clearance",
    "compare": "kin3d.studies.compare",
    "draw": "kin3d.studies.draw",
    "export": "kin3d.studies.export",
    "compliance": "kin3d.studies.compliance",
    "forces": "kin3d.studies.forces",
    "import_bores": "kin3d.studies.bores",
    "import_drawing": "kin3d.studies.drawing_import",
    "layouts": "kin3d.studies.layout_list:list_layouts",
    "load": "kin3d.studies.loading",
    "locate": "kin3d.studies.locate",
    "mark": "kin3d.face",
    "measures": "kin3d.studies.measure_list:list_measures",
    "rates": "kin3d.studies.rates_result",
    "report": "kin3d.face",
    "sensitivity": "kin3d.studies.sensitivity",
    "settle": "kin3d.studies.settle",
    "swap": "kin3d.studies.swap",
    "sweep": "kin3d.studies.sweep",
    "tolerance": "kin3d.studies.tolerance",
    "tune": "kin3d.studies.tune",
    "view": "kin3d.face",
}


class _Face(ModuleType):
    """The package as its users see it: its functions, imported when asked for, and no names of its folders.

    A folder that has a function's name (`measures`, `report`) does not take its place when it is imported.
    """

    def __getattr__(self, name: str) -> Any:
        if name not in _FUNCTIONS:
            raise AttributeError(f"module 'kin3d' has no attribute {name!r}")
        from importlib import import_module

        module, _, known_as = _FUNCTIONS[name].partition(":")
        function = getattr(import_module(module), known_as or name)
        super().__setattr__(name, function)
        return function

    def __setattr__(self, name: str, value: Any) -> None:
        if name not in _FUNCTIONS or not isinstance(value, ModuleType):
            super().__setattr__(name, value)

    def __dir__(self) -> list[str]:
        return list(__all__)


sys.modules[__name__].__class__ = _Face
