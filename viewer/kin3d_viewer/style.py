"""Colours, dashes and layers by role.

Cars, parts and roll centre have the colours of `kin3d.writing.style`, as in every picture; no two things are told
apart by colour alone: shapes, dashes and labels differ too. The colours on photographs are those of M. Okabe and
K. Ito (Color Universal Design, 2008).
"""

from __future__ import annotations

from dataclasses import dataclass

from kin3d.writing.style import CARS as CAR_COLOURS
from kin3d.writing.style import COMPRESSION, CONSTRUCTION, INK, MID, NEAR, PART_COLOURS, ROLL_CENTRE, TENSION

PAPER = "#f7f8f6"
FLOOR = "#e4e7e3"
GHOST = MID
CARS = {"A": CAR_COLOURS[0], "B": CAR_COLOURS[1]}  # of the car that is shown and the one beside it
PICKED = "#b88a00"
CHASSIS = "#9aa3aa"
SCREW = "#6b4c9a"
# on photographs: bright, over a dark edge
BLUE, ORANGE, SKY, GREEN, VERMILION = "#0072b2", "#e69f00", "#56b4e9", "#009e73", "#d55e00"


@dataclass(frozen=True, slots=True)
class Look:
    """How a role is drawn.

    Attributes
    ----------
    colour : str
    layer : str
        Toggle that shows or hides it (`LAYERS`).
    opacity : float
    width_px : float
        Of lines.
    dash : tuple of float
        Lengths of stroke and gap in mm; empty: a solid line.
    """

    colour: str
    layer: str = "linkage"
    opacity: float = 1.0
    width_px: float = 2.0
    dash: tuple[float, ...] = ()


LAYERS = {
    "linkage": "arms, links, upright, rod, rocker, spring",
    "wheels": "wheels and tyres",
    "joints": "joints and pickup points",
    "ground": "ground and contact points",
    "chassis": "the chassis, as a cage through its joints",
    "steering axis": "steering axis down to the ground",
    "screw axis": "instant screw axis of the upright, with the sense of its pitch",
    "front centres": "front-view construction: lines of the arms, instant centres, roll centre and its path",
    "side centres": "side-view construction: lines of the arms, instant centres",
    "trails": "where the instant centres go over the sweep",
    "rod force": "force in the rod for the static wheel load, as its width and its sign",
    "forces": "forces of a load case in links and springs, as width, sign and figure",
    "gaps": "solids, those that are near to another, and the least gap",
    "marks": "names of picked points, the distance between two",
    "labels": "names of the parts",
    "point names": "names of the points",
    "meshes": "meshes from files",
}
SHOWN = ("linkage", "wheels", "joints", "ground", "steering axis", "marks", "labels", "meshes")
WEBS = {"upright": 0.22, "rocker": 0.75, **dict.fromkeys(("lower arm", "upper arm", "other part"), 0.28)}  # opacity


def _centres(mark: str, front: str, roll: str, side: str, dash: tuple[float, ...]) -> dict[str, Look]:
    """Looks of the lines and centres of one car."""
    return {
        f"{mark}front line": Look(front, "front centres", width_px=2.0, dash=dash),
        f"{mark}front arms": Look(front, "front centres", opacity=0.55, width_px=1.2, dash=(6.0, 8.0)),
        f"{mark}front centre": Look(front, "front centres"),
        f"{mark}roll centre": Look(roll, "front centres"),
        f"{mark}roll path": Look(roll, "front centres", width_px=3.0),
        f"{mark}front trail": Look(front, "trails", opacity=0.6, width_px=2.5),
        f"{mark}side line": Look(side, "side centres", width_px=2.0, dash=(12.0, 12.0)),
        f"{mark}side arms": Look(side, "side centres", opacity=0.55, width_px=1.2, dash=(6.0, 8.0)),
        f"{mark}side centre": Look(side, "side centres"),
        f"{mark}side trail": Look(side, "trails", opacity=0.6, width_px=2.5),
    }


ROLES: dict[str, Look] = {
    **{part: Look(colour) for part, colour in PART_COLOURS.items()},
    **{f"{part} web": Look(PART_COLOURS[part], opacity=opacity) for part, opacity in WEBS.items()},
    "damper": Look("#6c757c"),
    "stub": Look(CHASSIS, opacity=0.9),
    "rack": Look(CHASSIS),
    "cage": Look(CHASSIS, "chassis", opacity=0.8),
    "wheel": Look("#3a4248", "wheels", opacity=0.22),
    "joint": Look("#2a3238", "joints"),
    "chassis joint": Look(INK, "joints"),
    "rack joint": Look(PART_COLOURS["steering link"], "joints"),
    "wheel centre": Look("#2a3238", "joints"),
    "ground": Look(FLOOR, "ground"),
    "contact": Look(INK, "ground"),
    "steering axis": Look(CONSTRUCTION, "steering axis", width_px=2.5, dash=(45.0, 14.0, 8.0, 14.0)),
    "screw axis": Look(SCREW, "screw axis", width_px=2.5, dash=(24.0, 12.0)),
    "screw sense": Look(SCREW, "screw axis", width_px=3.0),
    **_centres("", CONSTRUCTION, ROLL_CENTRE, CONSTRUCTION, (32.0, 12.0)),
    **_centres("A ", CARS["A"], CARS["A"], CARS["A"], (32.0, 12.0)),
    **_centres("B ", CARS["B"], CARS["B"], CARS["B"], (16.0, 8.0)),
    **_centres("now ", CONSTRUCTION, ROLL_CENTRE, CONSTRUCTION, ()),
    **{f"{c} linkage": Look(colour, opacity=0.35) for c, colour in CARS.items()},
    **{f"{c} wheel": Look(colour, "wheels", opacity=0.05) for c, colour in CARS.items()},
    "tension": Look(TENSION, "forces"),
    "compression": Look(COMPRESSION, "forces"),
    "force figure": Look(INK, "forces"),
    "solid": Look("#8b969e", "gaps", opacity=0.35),
    "solid ring": Look("#8b969e", "gaps", opacity=0.8, width_px=1.0),
    "near": Look(NEAR, "gaps", width_px=5.0),
    "gap": Look(NEAR, "gaps"),
    "picked name": Look(INK, "marks"),
    "measure": Look(PICKED, "marks", width_px=2.5),
    "label": Look(INK, "labels"),
    "point name": Look(INK, "point names"),
    "mesh": Look("#b9c0c4", "meshes", opacity=0.45),
}


def layer_of(role: str) -> str:
    """The toggle that a role belongs to."""
    return ROLES[role].layer


SHEET_STYLE = """
QMainWindow, QDockWidget, QTabWidget, QScrollArea { background: #f0f2ef; color: #1f2a33; }
QDockWidget::title { background: #dfe4df; padding: 4px 8px; }
QToolBar { background: #dfe4df; border: none; spacing: 2px; padding: 3px; }
QToolButton { padding: 4px 9px; }
QTableWidget { gridline-color: #dde1df; background: white; }
QDialog#help, QDialog#help QScrollArea, QDialog#help QWidget { background: #fffdf4; }
QDialog#help { border: 1px solid #1f2a33; }
QStatusBar { background: #dfe4df; }
"""
